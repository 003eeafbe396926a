//! The command line of etchlore: typed arguments -> settings -> one thin function a command -> presentation.

mod args;
mod board_file;
mod bulk;
mod casebook;
mod commands;
mod console;
mod corpus;
mod failure;
mod present;
mod rules;
mod table;
mod version;
mod whole;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::Parser;

use args::{BoardCommand, Cli, Command, Output, RulesCommand};
use console::Console;
use failure::{Failure, Status};

/// Runs the program on its arguments.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let cli = match Cli::try_parse_from(arguments) {
        Ok(cli) => cli,
        Err(error) => {
            let usage = error.use_stderr();
            // A closed pipe on the help text is no fault.
            let _ = error.print();
            return if usage {
                Status::Usage.into()
            } else {
                Status::Done.into()
            };
        }
    };
    let mut console = Console::new(cli.global.color);
    let findings = matches!(
        &cli.command,
        Command::Rules(args)
            if matches!(args.command, RulesCommand::Check(_) | RulesCommand::Overlaps(_))
    );
    if cli.global.output == Output::Sarif && !findings {
        let failure = Failure::Usage(
            "this command has no findings to write as SARIF".to_owned(),
            "use --output text, json or jsonl; `rules check` and `rules overlaps` know sarif"
                .to_owned(),
        );
        console.complain(&failure);
        return failure.status().into();
    }
    let done = match &cli.command {
        Command::Decode(args) => commands::decode::run(args, &cli.global, &mut console),
        Command::Bulk(args) => commands::bulk::run(args, &cli.global, &mut console),
        Command::Board(args) => match &args.command {
            BoardCommand::New(args) => commands::board::new::run(args, &cli.global, &mut console),
            BoardCommand::Schema(_) => commands::board::schema::run(&mut console),
            BoardCommand::Show(args) => commands::board::show::run(args, &cli.global, &mut console),
            BoardCommand::Compare(args) => {
                commands::board::compare::run(args, &cli.global, &mut console)
            }
            BoardCommand::Report(args) => {
                commands::board::report::run(args, &cli.global, &mut console)
            }
        },
        Command::Rules(args) => match &args.command {
            RulesCommand::Check(args) => {
                commands::rules::check::run(args, &cli.global, &mut console)
            }
            RulesCommand::Format(args) => {
                commands::rules::format::run(args, &cli.global, &mut console)
            }
            RulesCommand::List(args) => commands::rules::list::run(args, &cli.global, &mut console),
            RulesCommand::Show(args) => commands::rules::show::run(args, &cli.global, &mut console),
            RulesCommand::Changes(args) => {
                commands::rules::changes::run(args, &cli.global, &mut console)
            }
            RulesCommand::Overlaps(args) => {
                commands::rules::overlaps::run(args, &cli.global, &mut console)
            }
            RulesCommand::Mend(args) => commands::rules::mend::run(args, &cli.global, &mut console),
            RulesCommand::Coverage(args) => {
                commands::rules::coverage::run(args, &cli.global, &mut console)
            }
            RulesCommand::Draft(args) => {
                commands::rules::draft::run(args, &cli.global, &mut console)
            }
            RulesCommand::Write(args) => {
                commands::rules::write::run(args, &cli.global, &mut console)
            }
            RulesCommand::About(args) => {
                commands::rules::about::run(args, &cli.global, &mut console)
            }
        },
        Command::Confirm(args) => commands::confirm::run(args, &cli.global, &mut console),
        Command::Confusions(args) => commands::confusions::run(args, &cli.global, &mut console),
        Command::Completions(args) => commands::completions::run(args, &mut console),
    };
    match done.and_then(|status| console.flush().map(|()| status)) {
        Ok(status) => status.into(),
        Err(Failure::BrokenPipe) => Status::Done.into(),
        Err(failure) => {
            console.complain(&failure);
            failure.status().into()
        }
    }
}
