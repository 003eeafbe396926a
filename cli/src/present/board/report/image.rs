//! A photo's bytes -> what a page can carry.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

/// The most bytes of a photo: a page of several stays one that a browser opens.
pub(crate) const MAX_PHOTO: u64 = 24 << 20;
/// How far into a text its first element is looked for.
const LOOKED: usize = 4096;

/// A photo for a page.
#[derive(Debug, Clone)]
pub(crate) struct Image {
    /// As a `data:` URI.
    pub(crate) uri: String,
}

/// Takes a photo; `None` where it is no PNG, JPEG or SVG. `bare` leaves out what it says of camera, place and program.
pub(crate) fn image(bytes: &[u8], bare: bool) -> Option<Image> {
    let (kind, bytes) = if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        (
            "image/png",
            if bare {
                bare_png(bytes)
            } else {
                bytes.to_vec()
            },
        )
    } else if bytes.starts_with(b"\xff\xd8\xff") {
        (
            "image/jpeg",
            if bare {
                bare_jpeg(bytes)?
            } else {
                bytes.to_vec()
            },
        )
    } else if is_svg(bytes) {
        ("image/svg+xml", bytes.to_vec())
    } else {
        return None;
    };
    Some(Image {
        uri: format!("data:{kind};base64,{}", STANDARD.encode(bytes)),
    })
}

fn is_svg(bytes: &[u8]) -> bool {
    let start = String::from_utf8_lossy(&bytes[..bytes.len().min(LOOKED)]);
    let start = start.trim_start_matches('\u{feff}').trim_start();
    start.starts_with('<') && start.contains("<svg")
}

/// A PNG of the chunks that its picture is made of.
fn bare_png(bytes: &[u8]) -> Vec<u8> {
    let mut kept = bytes[..8].to_vec();
    let mut at = 8;
    while let Some(head) = bytes.get(at..at + 8) {
        let length = u32::from_be_bytes([head[0], head[1], head[2], head[3]]) as usize;
        let Some(chunk) = bytes.get(at..at.saturating_add(length).saturating_add(12)) else {
            break;
        };
        let of_picture = matches!(
            &head[4..8],
            b"IHDR" | b"PLTE" | b"IDAT" | b"IEND" | b"tRNS" | b"gAMA" | b"cHRM" | b"sRGB" | b"iCCP"
        );
        if of_picture {
            kept.extend_from_slice(chunk);
        }
        at += length + 12;
    }
    kept
}

/// A JPEG without comments and application segments, but for its own head. `None` where it is broken.
fn bare_jpeg(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut kept = bytes[..2].to_vec();
    let mut at = 2;
    loop {
        let head = bytes.get(at..at + 4)?;
        if head[0] != 0xff {
            return None;
        }
        // Fill bytes may stand before a segment.
        if head[1] == 0xff {
            at += 1;
            continue;
        }
        let length = usize::from(u16::from_be_bytes([head[2], head[3]]));
        let segment = bytes.get(at..at + 2 + length)?;
        // From the scan on it is all picture; a second picture behind its end is none of it.
        if head[1] == 0xda {
            let rest = &bytes[at..];
            let end = rest.windows(2).position(|pair| pair == b"\xff\xd9");
            kept.extend_from_slice(&rest[..end.map_or(rest.len(), |end| end + 2)]);
            return Some(kept);
        }
        if !matches!(head[1], 0xe1..=0xed | 0xef | 0xfe) {
            kept.extend_from_slice(segment);
        }
        at += 2 + length;
    }
}
