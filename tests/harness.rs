//! A fresh folder, the built binary, its output.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The root of the repository.
pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .unwrap()
        .to_path_buf()
}

/// What a run gave.
#[derive(Debug)]
pub(crate) struct Run {
    pub(crate) status: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

/// A command of the built binary, on a fixed day, without the caller's environment.
pub(crate) fn etchlore(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_etchlore"));
    command
        .args(arguments)
        .current_dir(root())
        .env("ETCHLORE_TODAY", "2026-11-25")
        .env_remove("ETCHLORE_RULES")
        .env_remove("NO_COLOR")
        .env_remove("COLUMNS");
    command
}

/// Runs a command with bytes on standard input.
pub(crate) fn run_with(mut command: Command, input: &[u8]) -> Run {
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A program that does not read its input closes the pipe; that is no failure of the test.
    let _ = child.stdin.take().unwrap().write_all(input);
    let output = child.wait_with_output().unwrap();
    Run {
        status: output.status.code().unwrap_or(-1),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Runs the binary.
pub(crate) fn run(arguments: &[&str]) -> Run {
    run_with(etchlore(arguments), b"")
}

/// Runs the binary and reads its one JSON document.
pub(crate) fn json(arguments: &[&str]) -> serde_json::Value {
    let run = run(arguments);
    serde_json::from_str(&run.out).unwrap_or_else(|error| panic!("{error}: {}{}", run.out, run.err))
}
