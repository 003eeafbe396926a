//! Every failure -> exit status and message.

use std::fmt;
use std::process::ExitCode;

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Status {
    /// Done.
    Done,
    /// Done, but with findings.
    Findings,
    /// Wrong usage.
    Usage,
    /// Unreadable or broken input.
    Unreadable,
    /// Ended by a signal.
    Interrupted,
}

impl From<Status> for ExitCode {
    fn from(status: Status) -> ExitCode {
        ExitCode::from(match status {
            Status::Done => 0,
            Status::Findings => 1,
            Status::Usage => 2,
            Status::Unreadable => 3,
            // As shells report a program that Ctrl-C ends.
            Status::Interrupted => 130,
        })
    }
}

/// Why a command could not do its work.
#[derive(Debug)]
pub(crate) enum Failure {
    /// The arguments cannot be: what, and what to do.
    Usage(String, String),
    /// An input cannot be read: what, and what to do.
    Unreadable(String, String),
    /// Rules have errors, already shown.
    BrokenRules(usize),
    /// A signal ended the run: how far it got.
    Interrupted(String),
    /// Whoever reads our output has stopped.
    BrokenPipe,
}

impl Failure {
    /// An output that cannot be written.
    pub(crate) fn from_write(what: &str, error: &std::io::Error) -> Failure {
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            return Failure::BrokenPipe;
        }
        Failure::Unreadable(
            format!("{what} cannot be written: {error}"),
            "check that its folder is there, has room and may be written to".to_owned(),
        )
    }

    pub(crate) fn status(&self) -> Status {
        match self {
            Failure::Usage(..) => Status::Usage,
            Failure::Unreadable(..) | Failure::BrokenRules(_) => Status::Unreadable,
            Failure::Interrupted(_) => Status::Interrupted,
            Failure::BrokenPipe => Status::Done,
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Failure::Usage(what, help) | Failure::Unreadable(what, help) => {
                write!(f, "error: {what}\n  help: {help}")
            }
            Failure::BrokenRules(1) => {
                f.write_str("error: the rules have an error, shown above; nothing was decoded")
            }
            Failure::BrokenRules(n) => write!(
                f,
                "error: the rules have {n} errors, shown above; nothing was decoded"
            ),
            Failure::Interrupted(how_far) => write!(f, "interrupted: {how_far}"),
            Failure::BrokenPipe => Ok(()),
        }
    }
}

impl From<std::io::Error> for Failure {
    fn from(error: std::io::Error) -> Failure {
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            return Failure::BrokenPipe;
        }
        Failure::Unreadable(
            format!("input or output failed: {error}"),
            "try again".to_owned(),
        )
    }
}
