//! `man`: manual pages, one per command, generated from the help texts.

use super::ending::{Ending, Failure};
use super::writing::write_atomically;
use super::{files, output};
use clap::Command;
use clap_mangen::Man;
use std::path::PathBuf;
use stillbed_input::problem::{Place, Problem};

/// Print the manual page, or write one for every command
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  stillbed man | man -l -\n  stillbed man --dir ~/.local/share/man/man1")]
pub(super) struct Arguments {
    /// Write the pages of all commands into this folder, which is made where it is missing
    #[arg(long, value_name = "DIR")]
    dir: Option<PathBuf>,
}

pub(super) fn run(arguments: &Arguments, mut main: Command) -> Result<Ending, Failure> {
    main.build();
    let fault = |error: std::io::Error| Problem::error(Place::default(), error.to_string());
    let Some(folder) = &arguments.dir else {
        output::print(&page(&main).map_err(fault)?)?;
        return Ok(Ending::Answered);
    };
    // All pages are rendered before the first is written.
    let commands = std::iter::once(&main).chain(main.get_subcommands());
    let pages: Vec<(String, Vec<u8>)> = commands
        .map(|command| Ok((Man::new(command.clone()).get_filename(), page(command)?)))
        .collect::<std::io::Result<_>>()
        .map_err(fault)?;
    files::make_folder(folder)?;
    for (i, (name, page)) in pages.iter().enumerate() {
        write_atomically(&folder.join(name), page).map_err(|problem| match i {
            0 => problem,
            n => {
                problem.with_help(format!("the {n} pages before it are written; ask again when it is mended"))
            }
        })?;
    }
    output::remark(&format!("wrote {} pages to {}", pages.len(), folder.display()));
    Ok(Ending::Answered)
}

/// The page of `command`; the example commands of its help go under EXAMPLES.
fn page(command: &Command) -> std::io::Result<Vec<u8>> {
    let man = Man::new(command.clone()).manual("Stillbed").source(env!("CARGO_PKG_VERSION"));
    let mut page = Vec::new();
    man.render_title(&mut page)?;
    man.render_name_section(&mut page)?;
    man.render_synopsis_section(&mut page)?;
    man.render_description_section(&mut page)?;
    man.render_options_section(&mut page)?;
    if command.has_subcommands() {
        man.render_subcommands_section(&mut page)?;
    }
    if let Some(worked) = command.get_after_help() {
        page.extend(b".SH EXAMPLES\n.nf\n");
        for line in worked.to_string().lines() {
            page.extend(escaped(line.strip_prefix("Example: ").unwrap_or(line)).into_bytes());
            page.push(b'\n');
        }
        page.extend(b".fi\n");
    }
    Ok(page)
}

/// A line of plain text with roff control characters escaped.
fn escaped(line: &str) -> String {
    let line = line.replace('\\', "\\e").replace('-', "\\-");
    if line.starts_with(['.', '\'']) { format!("\\&{line}") } else { line }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn a_line_of_text_is_no_request() {
        assert_eq!(escaped(".TH a-b"), "\\&.TH a\\-b");
        assert_eq!(escaped("a\\b"), "a\\eb");
    }

    #[test]
    fn every_command_has_a_worked_line_in_its_page() {
        let mut main = super::super::Arguments::command();
        main.build();
        for command in main.get_subcommands() {
            let page = String::from_utf8(page(command).unwrap()).unwrap();
            let worked = page.split(".SH EXAMPLES").nth(1).unwrap_or_default();
            assert!(worked.contains(&format!("stillbed {}", command.get_name())), "{page}");
        }
    }
}
