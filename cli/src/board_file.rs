//! Board files: YAML with every text as it was typed, places in every message.
//!
//! Texts are taken raw: `104` and `0814` stay what stands on the part and become no numbers. What YAML's own reader says has its place;
//! what is found later (a designator twice, a photo that is not there) is found again in the text by its path ([`place`]).

pub(crate) mod from_table;
mod node;
mod place;
mod read;
pub(crate) mod schema;
mod shape;
pub(crate) mod start;

use std::path::{Path, PathBuf};

use etchlore_engine::board::Board;
use etchlore_engine::model::FormKind;

use crate::failure::Failure;
use place::Step;

/// The most bytes of a board file: two thousand parts take about one million.
const MAX_FILE: u64 = 32 << 20;
/// The most bytes of one text in it.
const MAX_TEXT: usize = 64 << 10;

/// A board with what only the page of a report needs.
#[derive(Debug, Clone)]
pub(crate) struct BoardFile {
    /// Where it was read from.
    pub(crate) path: PathBuf,
    /// What the engine takes.
    pub(crate) board: Board,
    /// Photos of the board, by name.
    pub(crate) photos: Vec<Photo>,
    /// Width and height of the board in metres, where measured.
    pub(crate) size: Option<(f64, f64)>,
    /// Free words of the lab, not for clients.
    pub(crate) notes: Option<String>,
    /// By part, in the order of the board.
    pub(crate) parts: Vec<PartPage>,
}

/// A photo of the board.
#[derive(Debug, Clone)]
pub(crate) struct Photo {
    pub(crate) name: String,
    /// Beside the board file.
    pub(crate) file: PathBuf,
}

/// What a page shows of a part beside what the engine takes.
#[derive(Debug, Clone, Default)]
pub(crate) struct PartPage {
    /// Where it stands on photos: by position, as far as noted.
    pub(crate) on: Vec<OnPhoto>,
    /// Free words of the lab, not for clients.
    pub(crate) notes: Option<String>,
    /// By reading: the photo it was read from.
    pub(crate) photos: Vec<Option<PathBuf>>,
    /// By reading, as typed.
    pub(crate) typed: Vec<String>,
}

/// A place on a photo, in percent of its width and height.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct OnPhoto {
    pub(crate) photo: String,
    pub(crate) x: f64,
    pub(crate) y: f64,
    pub(crate) width: f64,
    pub(crate) height: f64,
}

/// The forms that a reading can be given under; `any` where nobody noted it.
pub(crate) fn forms() -> impl Iterator<Item = (&'static str, Option<FormKind>)> {
    FormKind::ALL
        .iter()
        .map(|(kind, word)| (*word, Some(*kind)))
        .chain([("any", None)])
}

/// What is wrong with a board file.
#[derive(Debug)]
struct Wrong {
    /// Where, as a way through the file.
    path: Vec<Step>,
    /// What.
    what: String,
    /// What to do.
    help: String,
}

/// Reads a board file. `today` is the day of reading where the file gives none.
pub(crate) fn read(path: &Path, today: jiff::civil::Date) -> Result<BoardFile, Failure> {
    let name = path.display();
    let unreadable = |error: std::io::Error| {
        Failure::Unreadable(
            format!("{name} cannot be read: {error}"),
            "`etchlore board new` writes a start file".to_owned(),
        )
    };
    let size = std::fs::metadata(path).map_err(unreadable)?.len();
    if size > MAX_FILE {
        return Err(Failure::Unreadable(
            format!("{name} is {size} bytes long; a board file has at most {MAX_FILE}"),
            "photos stand beside the file, not in it".to_owned(),
        ));
    }
    let bytes = std::fs::read(path).map_err(unreadable)?;
    let text = utf8(path, bytes)?;
    read_text(path, &text, today)
}

/// Reads the text of a board file. `path` is where it stands, or is about to be written.
pub(crate) fn read_text(
    path: &Path,
    text: &str,
    today: jiff::civil::Date,
) -> Result<BoardFile, Failure> {
    let parsed = node::parse(text)
        .map_err(|(at, what, help)| place::failure(path, text, at, &what, help))?;
    read::board(path, &parsed, today).map_err(|wrong| {
        let at = place::of(text, &wrong.path);
        place::failure(path, text, at, &wrong.what, wrong.help)
    })
}

/// The text of a file, without a byte order mark.
fn utf8(path: &Path, bytes: Vec<u8>) -> Result<String, Failure> {
    let help = "save the file as UTF-8".to_owned();
    // UTF-16, with its mark or told by the zero bytes of its plain letters.
    let sixteen = bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff");
    if sixteen || bytes.iter().take(100).filter(|byte| **byte == 0).count() > 4 {
        let what = format!(
            "{}:1:1: this file is UTF-16 text, or no text",
            path.display()
        );
        return Err(Failure::Unreadable(what, help));
    }
    match String::from_utf8(bytes) {
        Ok(mut text) => {
            if text.starts_with('\u{feff}') {
                text.drain(..'\u{feff}'.len_utf8());
            }
            Ok(text)
        }
        Err(error) => {
            let upto = error.utf8_error().valid_up_to();
            let text = String::from_utf8_lossy(error.as_bytes());
            let before = &text[..upto];
            let start = before.rfind('\n').map_or(0, |at| at + 1);
            let at = (
                before.matches('\n').count() + 1,
                before[start..].chars().count() + 1,
            );
            let what = "a byte here belongs to no UTF-8 character";
            Err(place::failure(path, &text, Some(at), what, help))
        }
    }
}
