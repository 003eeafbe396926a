//! `bulk`

use crate::args::{BulkArgs, GlobalArgs};
use crate::bulk::bulk;
use crate::console::Console;
use crate::failure::{Failure, Status};

pub(crate) fn run(
    args: &BulkArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    bulk(args, global, console)
}
