//! How much of an answer is built: what nobody looks at costs most of the time.

use crate::model::FieldId;

/// What is wanted of an answer.
#[derive(Debug, Clone, Copy)]
pub(super) struct Detail<'a> {
    /// `None`: everything.
    wanted: Option<&'a Wanted>,
    /// How many codes that stand for others it was reached by.
    pub(super) depth: usize,
}

/// The fields wanted of the first candidate, for an answer in short.
#[derive(Debug, Clone, Default)]
pub struct Wanted {
    /// By field; none for all.
    fields: Option<Vec<bool>>,
}

impl Wanted {
    /// All fields.
    #[must_use]
    pub fn all() -> Wanted {
        Wanted { fields: None }
    }

    /// Some fields.
    #[must_use]
    pub fn some(fields: impl IntoIterator<Item = FieldId>) -> Wanted {
        let mut wanted = Vec::new();
        for field in fields {
            if wanted.len() <= field.index() {
                wanted.resize(field.index() + 1, false);
            }
            wanted[field.index()] = true;
        }
        Wanted {
            fields: Some(wanted),
        }
    }
}

impl<'a> Detail<'a> {
    /// Everything.
    pub(super) fn everything() -> Detail<'a> {
        Detail {
            wanted: None,
            depth: 0,
        }
    }

    /// The first candidate with some fields.
    pub(super) fn short(wanted: &'a Wanted) -> Detail<'a> {
        Detail {
            wanted: Some(wanted),
            depth: 0,
        }
    }

    /// The same for what a code stands for.
    pub(super) fn deeper(&self) -> Detail<'a> {
        Detail {
            depth: self.depth + 1,
            ..*self
        }
    }

    /// Whether everything is wanted.
    pub(super) fn full(&self) -> bool {
        self.wanted.is_none()
    }

    /// Whether a field is wanted.
    pub(super) fn wants(&self, field: FieldId) -> bool {
        let fields = self.wanted.and_then(|wanted| wanted.fields.as_ref());
        fields.is_none_or(|fields| fields.get(field.index()).copied().unwrap_or(false))
    }
}
