//! Streams, terminal or not, width, colour.

use std::io::{BufWriter, IsTerminal, Write};

use anstyle::{AnsiColor, Style};

use crate::failure::Failure;

/// When to colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub(crate) enum ColorChoice {
    /// On a terminal, unless `NO_COLOR` is set.
    #[default]
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// What a piece of text is; how that looks is decided here alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Label {
    Head,
    Strong,
    Faint,
    Good,
    Doubt,
    Bad,
}

/// The streams of a run.
pub(crate) struct Console {
    out: BufWriter<std::io::Stdout>,
    color: bool,
    width: usize,
}

/// Width where output is no terminal.
const PIPED_WIDTH: usize = 80;

impl Console {
    pub(crate) fn new(choice: ColorChoice) -> Console {
        let terminal = std::io::stdout().is_terminal();
        let no_color = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        let color = match choice {
            ColorChoice::Always => true,
            ColorChoice::Never => false,
            ColorChoice::Auto => terminal && !no_color,
        };
        let columns = std::env::var("COLUMNS")
            .ok()
            .and_then(|columns| columns.parse::<usize>().ok());
        let width = columns
            .or_else(|| {
                terminal
                    .then(terminal_size::terminal_size)
                    .flatten()
                    .map(|(width, _)| usize::from(width.0))
            })
            .unwrap_or(PIPED_WIDTH)
            .clamp(30, 160);
        Console {
            out: BufWriter::new(std::io::stdout()),
            color,
            width,
        }
    }

    pub(crate) fn width(&self) -> usize {
        self.width
    }

    pub(crate) fn colored(&self) -> bool {
        self.color
    }

    /// Text in the look of a label.
    pub(crate) fn paint(&self, label: Label, text: &str) -> String {
        if !self.color || text.is_empty() {
            return text.to_owned();
        }
        let style = match label {
            Label::Head => Style::new().bold().fg_color(Some(AnsiColor::Cyan.into())),
            Label::Strong => Style::new().bold(),
            Label::Faint => Style::new().dimmed(),
            Label::Good => Style::new().fg_color(Some(AnsiColor::Green.into())),
            Label::Doubt => Style::new().fg_color(Some(AnsiColor::Yellow.into())),
            Label::Bad => Style::new().fg_color(Some(AnsiColor::Red.into())),
        };
        format!("{style}{text}{style:#}")
    }

    pub(crate) fn line(&mut self, text: &str) -> Result<(), Failure> {
        Ok(writeln!(self.out, "{}", text.trim_end())?)
    }

    pub(crate) fn raw(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        Ok(self.out.write_all(bytes)?)
    }

    pub(crate) fn flush(&mut self) -> Result<(), Failure> {
        Ok(self.out.flush()?)
    }

    /// A message to standard error.
    pub(crate) fn complain(&mut self, text: &dyn std::fmt::Display) {
        let _ = self.out.flush();
        let _ = writeln!(std::io::stderr(), "{text}");
    }
}
