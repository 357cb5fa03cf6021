//! The palette of the terminal: colours by meaning.

use anstyle::{AnsiColor, Style};

/// The meaning of a piece of text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Palette {
    /// Ordinary text in the terminal's own colour.
    #[default]
    Plain,
    /// Titles.
    Strong,
    /// Rules, axes, units.
    Quiet,
    /// An error, which stops the answer.
    Error,
    /// A warning.
    Warning,
    /// How to repair a problem.
    Help,
    /// The n-th of several things.
    Series(usize),
}

/// Colours that also differ in lightness, for readers who cannot tell red from green.
const SERIES: [AnsiColor; 6] = [
    AnsiColor::Cyan,
    AnsiColor::Yellow,
    AnsiColor::Magenta,
    AnsiColor::Green,
    AnsiColor::Blue,
    AnsiColor::Red,
];

impl Palette {
    fn style(self) -> Style {
        match self {
            Palette::Plain => Style::new(),
            Palette::Strong => Style::new().bold(),
            Palette::Quiet => Style::new().dimmed(),
            Palette::Error => AnsiColor::Red.on_default().bold(),
            Palette::Warning => AnsiColor::Yellow.on_default().bold(),
            Palette::Help => AnsiColor::Cyan.on_default(),
            Palette::Series(i) => SERIES[i % SERIES.len()].on_default(),
        }
    }

    /// `text` between the escape sequences of this colour; blank text gets none.
    pub(super) fn paint(self, text: &str) -> String {
        let style = self.style();
        if style.is_plain() || text.trim().is_empty() {
            return text.to_string();
        }
        format!("{style}{text}{style:#}")
    }
}
