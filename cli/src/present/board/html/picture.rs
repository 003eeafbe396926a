//! The board with numbered places.

use std::fmt::Write as _;

use maud::{Markup, html};

use super::super::report::Page;

/// Where the places are, as style: attributes would need a looser policy.
pub(super) fn places(page: &Page) -> String {
    let mut out = String::new();
    for picture in &page.pictures {
        for (at, [x, y, w, h]) in &picture.places {
            let _ = writeln!(
                out,
                "#place-{}{{left:{x}%;top:{y}%;width:{w}%;height:{h}%}}",
                at + 1
            );
        }
    }
    out
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
                    @for (at, _) in &picture.places {
                        a.place id={ "place-" (at + 1) } href={ "#row-" (at + 1) } data-part=(at + 1)
                            aria-label={ (at + 1) ": " (page.parts[*at].view.name) ", " (page.parts[*at].view.title) } { span { (at + 1) } }
                    }
                }
                figcaption { (picture.title) ". The numbers lead to the inventory." }
            }
        }
    }
}
