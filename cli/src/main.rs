//! Parse, run, exit.

use std::process::ExitCode;

/// Checking the rules at the start is thousands of small allocations.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    etchlore_cli::run(std::env::args_os())
}
