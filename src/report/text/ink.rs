//! The few colours of a terminal, named by what they mean.

use anstyle::{AnsiColor, Style};

/// What a piece of text is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Ink {
    /// As the terminal writes.
    #[default]
    Plain,
    /// Titles.
    Strong,
    /// Rules, axes, units.
    Quiet,
    /// Stops the answer.
    Error,
    /// A doubt.
    Warning,
    /// A repair.
    Help,
    /// The n-th of several things.
    Series(usize),
}

/// Told apart by people who see no red or green, also by lightness.
const SERIES: [AnsiColor; 6] = [
    AnsiColor::Cyan,
    AnsiColor::Yellow,
    AnsiColor::Magenta,
    AnsiColor::Green,
    AnsiColor::Blue,
    AnsiColor::Red,
];

impl Ink {
    fn style(self) -> Style {
        match self {
            Ink::Plain => Style::new(),
            Ink::Strong => Style::new().bold(),
            Ink::Quiet => Style::new().dimmed(),
            Ink::Error => AnsiColor::Red.on_default().bold(),
            Ink::Warning => AnsiColor::Yellow.on_default().bold(),
            Ink::Help => AnsiColor::Cyan.on_default(),
            Ink::Series(i) => SERIES[i % SERIES.len()].on_default(),
        }
    }

    /// `text` between the escape sequences of this ink; blank text has none.
    pub(super) fn paint(self, text: &str) -> String {
        let style = self.style();
        if style.is_plain() || text.trim().is_empty() {
            return text.to_string();
        }
        format!("{style}{text}{style:#}")
    }
}
