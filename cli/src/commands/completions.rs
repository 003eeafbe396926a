//! `completions SHELL`

use clap::CommandFactory;

use crate::args::{Cli, CompletionsArgs};
use crate::console::Console;
use crate::failure::{Failure, Status};

pub(crate) fn run(args: &CompletionsArgs, console: &mut Console) -> Result<Status, Failure> {
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "etchlore", &mut text);
    console.raw(&text)?;
    Ok(Status::Done)
}
