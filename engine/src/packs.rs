//! The embedded rules, as text.

/// An embedded file: its name for `use`, its path beside this crate, its text.
#[derive(Debug, Clone, Copy)]
pub struct Pack {
    /// `builtin/dates`, or `builtin/eia96.csv`.
    pub name: &'static str,
    /// `standards/dates.lore`
    pub path: &'static str,
    /// The text.
    pub text: &'static str,
}

macro_rules! packs {
    ($($name:literal $path:literal),* $(,)?) => {
        /// All embedded files, sorted by name.
        pub const PACKS: &[Pack] = &[
            $(Pack { name: concat!("builtin/", $name), path: $path, text: include_str!(concat!("../packs/", $path)) }),*
        ];
    };
}

packs! {
    "dates" "standards/dates.lore",
}

/// The text of an embedded file as named in `use` or `from` of the text called `from`.
#[must_use]
pub fn find(from: &str, path: &str) -> Option<&'static Pack> {
    let name = if path.starts_with("builtin/") {
        path.to_owned()
    } else {
        format!("{}/{path}", from.rsplit_once('/')?.0)
    };
    PACKS.iter().find(|pack| pack.name == name)
}
