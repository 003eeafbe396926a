//! The inputs of a cost estimate as a table; prices are not ours.

use super::report::Page;
use crate::failure::Failure;

const HEAD: [&str; 16] = [
    "part",
    "positions",
    "quantity",
    "inside",
    "confidence",
    "base_part",
    "ordering_code",
    "maker",
    "function",
    "package",
    "pins",
    "body",
    "density",
    "dies",
    "die_size",
    "what",
];

/// One line a part.
pub(crate) fn table(page: &Page) -> Result<String, Failure> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let wrong =
        |error: csv::Error| Failure::Unreadable(error.to_string(), "report this".to_owned());
    writer.write_record(HEAD).map_err(wrong)?;
    for one in &page.parts {
        let view = &one.view;
        let or = |text: &Option<String>| text.clone().unwrap_or_default();
        let dies = view.inside.clone().unwrap_or_else(|| {
            let each: Vec<&str> = one.dies.iter().map(|die| die.what.as_str()).collect();
            each.join("; ")
        });
        let row = [
            view.name.clone(),
            view.places.clone(),
            view.quantity.to_string(),
            or(&one.within),
            one.sure.clone(),
            or(&one.base),
            or(&view.written),
            or(&view.maker),
            view.function.clone(),
            or(&one.package),
            or(&one.pins),
            or(&one.body),
            or(&one.density),
            dies,
            or(&one.die_size),
            view.title.clone(),
        ];
        writer.write_record(row.map(harmless)).map_err(wrong)?;
    }
    let bytes = writer
        .into_inner()
        .map_err(|error| Failure::Unreadable(error.to_string(), "report this".to_owned()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// A text that a spreadsheet would run as a formula gets a quote before it.
fn harmless(text: String) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{text}")
    } else {
        text
    }
}
