//! `board schema`

use crate::board_file::schema;
use crate::console::Console;
use crate::failure::{Failure, Status};

pub(crate) fn run(console: &mut Console) -> Result<Status, Failure> {
    console.line(&format!("{:#}", schema::schema()))?;
    Ok(Status::Done)
}
