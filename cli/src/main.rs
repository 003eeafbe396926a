//! Parse, run, exit.

use std::process::ExitCode;

fn main() -> ExitCode {
    etchlore_cli::run(std::env::args_os())
}
