//! The table of what belongs where -> a start file: every key with its comment, an example part commented out.

use super::shape::{BOARD, Key, Kind};

/// A start file. It lacks only the product's name.
pub(crate) fn start() -> String {
    let mut text = "\
# A board file of etchlore: what is on a board, as it was read.
# Lines that begin with `#` are not read: take the `#` away (not the spaces behind it) where you have something to say.
# `etchlore board schema` writes a JSON Schema for your editor, `etchlore board show` reads the file.

"
    .to_owned();
    let Kind::Map(keys) = &BOARD else {
        return text;
    };
    for key in *keys {
        text.push_str(&format!("# {}\n", key.what));
        if key.required {
            text.push_str(&format!("{}:\n", key.name));
        } else {
            one(key, "", &mut text);
        }
    }
    text
}

/// A key as a commented line, and what stands beneath it.
fn one(key: &Key, indent: &str, text: &mut String) {
    let name = key.name;
    // What is said of the keys of the root stands above them.
    let what = match indent {
        "" => String::new(),
        _ => format!("    # {}", key.what),
    };
    let deeper = format!("{indent}  ");
    match &key.kind {
        Kind::Map(keys) | Kind::Each(Kind::Map(keys), _) => {
            text.push_str(&format!("#{indent}{name}:{what}\n"));
            for key in *keys {
                one(key, &deeper, text);
            }
        }
        Kind::List(Kind::Map(keys), _) => {
            text.push_str(&format!("#{indent}{name}:{what}\n"));
            let within = format!("{deeper}  ");
            let mut dash = true;
            for key in *keys {
                let begin = text.len();
                one(key, &within, text);
                // The first key that says something has the dash.
                if dash && !key.example.is_empty() {
                    let at = begin + 1 + deeper.len();
                    text.replace_range(at..=at, "-");
                    dash = false;
                }
            }
        }
        _ if key.example.is_empty() => {
            text.push_str(&format!("#{indent}# {name}: {}\n", key.what));
        }
        _ => text.push_str(&format!("#{indent}{name}: {}{what}\n", key.example)),
    }
}
