//! `board report`

use etchlore_engine::board::compare;

use crate::args::{BoardReportArgs, GlobalArgs};
use crate::board_file::BoardFile;
use crate::commands::board::{accounted, open};
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::present::board::report::image::{Image, MAX_PHOTO, image};
use crate::present::board::{cost, html, markdown, report};
use crate::rules::load;
use crate::whole;

pub(crate) fn run(
    args: &BoardReportArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let ending = args.to.extension().and_then(|ending| ending.to_str());
    let write: fn(&report::Page) -> Result<String, Failure> = match ending {
        Some("html" | "htm") => |page| Ok(html::page(page)),
        Some("md") => |page| Ok(markdown::page(page)),
        Some("csv") => cost::table,
        _ => {
            return Err(Failure::Usage(
                format!("{} ends in no form of a report", args.to.display()),
                "end it in .html, .md or .csv".to_owned(),
            ));
        }
    };
    let file = open(&args.board, &args.how)?;
    let old = args.against.as_ref();
    let old = old.map(|path| open(path, &args.how)).transpose()?;
    let images = match args.edition.is_client() && !args.with_photos {
        true => Vec::new(),
        false => photos(&file, args.edition.is_client())?,
    };
    let loaded = load(global, console)?;
    let account = accounted(&loaded, &file, &args.how);
    let old = old.map(|old| {
        let known = accounted(&loaded, &old, &args.how);
        (old, known)
    });
    let found = old.as_ref().map(|(old, known)| {
        let new = (&file.board, &account);
        compare(loaded.rules.set(), (&old.board, known), new)
    });
    let against = old
        .as_ref()
        .map(|(old, known)| (old, known))
        .zip(found.as_ref());
    let page = report::page(&loaded, args.edition, (&file, &account), against, images);
    whole::replace(&args.to, &write(&page)?)?;
    Ok(Status::Done)
}

/// The photos of a board, in its order.
fn photos(file: &BoardFile, bare: bool) -> Result<Vec<Image>, Failure> {
    let each = file.photos.iter().map(|photo| {
        let name = photo.file.display();
        let unreadable = |error: std::io::Error| {
            Failure::Unreadable(
                format!("the photo {name} cannot be read: {error}"),
                "check the file, or take the line out of `photos:`".to_owned(),
            )
        };
        let size = std::fs::metadata(&photo.file).map_err(unreadable)?.len();
        if size > MAX_PHOTO {
            return Err(Failure::Unreadable(
                format!("the photo {name} has {size} bytes; a report carries at most {MAX_PHOTO}"),
                "make it smaller".to_owned(),
            ));
        }
        let bytes = std::fs::read(&photo.file).map_err(unreadable)?;
        image(&bytes, bare).ok_or_else(|| {
            Failure::Unreadable(
                format!("the photo {name} is no PNG, JPEG or SVG"),
                "save it in one of these forms".to_owned(),
            )
        })
    });
    each.collect()
}
