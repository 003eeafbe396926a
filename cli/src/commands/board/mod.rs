//! `board`: a file, its account, a page.

pub(crate) mod compare;
pub(crate) mod new;
pub(crate) mod report;
pub(crate) mod schema;
pub(crate) mod show;

use std::path::Path;

use etchlore_engine::board::{Account, account};

use crate::args::BoardHow;
use crate::board_file::{self, BoardFile};
use crate::commands::{day_of_reading, jobs};
use crate::failure::Failure;
use crate::rules::Loaded;

/// Reads a board file.
pub(crate) fn open(path: &Path, how: &BoardHow) -> Result<BoardFile, Failure> {
    board_file::read(path, day_of_reading(how.seen.as_deref())?)
}

/// What is on the board by these rules.
pub(crate) fn accounted(loaded: &Loaded, file: &BoardFile, how: &BoardHow) -> Account {
    account(&loaded.rules.decoder(), &file.board, jobs(how.jobs))
}
