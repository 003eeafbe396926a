//! The board with numbered places.

use std::fmt::Write as _;

use maud::{Markup, html};

use super::super::report::{Page, Place};

/// Where the places are, as style: attributes would need a looser policy.
pub(super) fn places(page: &Page) -> String {
    let mut out = String::new();
    for picture in &page.pictures {
        for place in &picture.places {
            let [x, y, w, h] = place.at;
            let _ = writeln!(
                out,
                "#{}{{left:{x}%;top:{y}%;width:{w}%;height:{h}%}}",
                id(place)
            );
        }
    }
    out
}

/// The first place of a part is where its row leads to.
fn id(place: &Place) -> String {
    match place.number {
        0 => format!("place-{}", place.part + 1),
        more => format!("place-{}-{}", place.part + 1, more + 1),
    }
}

pub(super) fn section(page: &Page) -> Markup {
    html! {
        @if page.pictures.is_empty() { p { "No places were noted." } }
        @for picture in &page.pictures {
            figure {
                div.board {
                    @match &picture.image {
                        Some(image) => img src=(image.uri) alt={ "Photo of the board, " (picture.title) };,
                        None => svg viewBox={ "0 0 " (picture.size.0) " " (picture.size.1) } role="img" aria-label="Outline of the board" {
                            rect.outline x="0.5" y="0.5" width=(picture.size.0 - 1.0) height=(picture.size.1 - 1.0) rx="2" {}
                        },
                    }
                    @for place in &picture.places { @let at = place.part;
                        a.place id=(id(place)) href={ "#row-" (at + 1) } data-part=(at + 1)
                            aria-label={ (at + 1) ": " (place.name) ", " (page.parts[at].view.title) } { span { (at + 1) } }
                    }
                }
                figcaption { (picture.title) ". The numbers lead to the inventory." }
            }
        }
    }
}
