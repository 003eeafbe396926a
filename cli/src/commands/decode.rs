//! `decode`

use std::io::{BufRead, IsTerminal, Write};

use etchlore_engine::decode::{Effort, Notation, Reading, Scratch};
use etchlore_engine::model::{FamilyId, FormKind};
use etchlore_engine::rank::{
    Context, MAX_SPECIMENS, Ranking, Specimens, Why, rank, rank_specimens, why,
};
use etchlore_engine::value::Interval;

use crate::args::{DecodeArgs, GlobalArgs, Output};
use crate::commands::day_of_reading;
use crate::console::Console;
use crate::failure::{Failure, Status};
use crate::present::{self, text, wire};
use crate::rules::{Loaded, family, load};

/// The longest reading that is tried, in bytes; a longer one is answered as unread.
const MAX_READING: usize = 4_096;

struct Job<'a> {
    args: &'a DecodeArgs,
    loaded: &'a Loaded,
    context: Context,
    form: Option<FormKind>,
    notation: Notation,
    /// The family whose reasons are asked for.
    why: Option<FamilyId>,
    scratch: Scratch,
    undecoded: bool,
}

pub(crate) fn run(
    args: &DecodeArgs,
    global: &GlobalArgs,
    console: &mut Console,
) -> Result<Status, Failure> {
    let form = form(&args.form)?;
    let context = context(args)?;
    let loaded = &load(global, console)?;
    let why = args
        .why
        .as_deref()
        .map(|name| family(loaded, name).map(|(id, _)| id))
        .transpose()?;
    let notation = Notation {
        plain: args.plain,
        certain: args.certain,
        table: false,
    };
    let mut job = Job {
        args,
        loaded,
        context,
        form,
        notation,
        why,
        scratch: Scratch::default(),
        undecoded: false,
    };
    if args.specimens {
        specimens(&mut job, global.output, console)?;
    } else if args.lines.is_empty() {
        if std::io::stdin().is_terminal() && global.output == Output::Text {
            session(&mut job, console)?;
        } else {
            stream(&mut job, global.output, console)?;
        }
    } else {
        let reading = job.reading(&args.lines)?;
        let ranking = job.rank(&reading);
        let seen = job.context.seen;
        match global.output {
            Output::Text | Output::Sarif => job.show(&reading, &ranking, console)?,
            Output::Json => {
                let reading = job.wire(&reading, &ranking);
                console.line(&wire::document(loaded, seen, vec![reading])?)?;
            }
            Output::Jsonl => console.line(&wire::line(&job.wire(&reading, &ranking))?)?,
        }
    }
    Ok(if args.strict && job.undecoded {
        Status::Findings
    } else {
        Status::Done
    })
}

impl Job<'_> {
    /// The reading of typed lines; in one line, ` | ` parts lines.
    fn reading(&self, lines: &[String]) -> Result<Reading, Failure> {
        let parsed = match lines {
            [one] => Reading::parse(one, self.notation),
            several => {
                // Each argument may itself hold ` | `.
                let split: Result<Vec<Reading>, _> = several
                    .iter()
                    .map(|line| Reading::parse(line, self.notation))
                    .collect();
                match split {
                    Ok(parts) => Ok(Reading {
                        lines: parts.into_iter().flat_map(|part| part.lines).collect(),
                        form: None,
                    }),
                    Err(error) => Err(error),
                }
            }
        };
        let reading = parsed.map_err(|error| {
            let shown = lines
                .get(error.line)
                .or(lines.first())
                .map(String::as_str)
                .unwrap_or_default();
            Failure::Usage(
                format!(
                    "this is no reading: {error}\n  {shown}\n  {}^",
                    " ".repeat(error.at)
                ),
                "see `etchlore decode --help` for the notation; --plain turns it off".to_owned(),
            )
        })?;
        if reading.lines.len() > etchlore_engine::decode::MAX_LINES {
            return Err(Failure::Usage(
                "a package has too many lines".to_owned(),
                format!("at most {} are read", etchlore_engine::decode::MAX_LINES),
            ));
        }
        Ok(reading.in_form(self.form))
    }

    fn rank(&mut self, reading: &Reading) -> Ranking {
        let decoder = self.loaded.rules.decoder().with(self.effort());
        let ranking = rank(&decoder, reading, &self.context, &mut self.scratch);
        self.note(&ranking);
        ranking
    }

    /// What the specimens of one part say together.
    fn rank_all(&mut self, readings: &[Reading]) -> Specimens {
        let decoder = self.loaded.rules.decoder().with(self.effort());
        let all = rank_specimens(&decoder, readings, &self.context, &mut self.scratch);
        self.note(&all.ranking);
        all
    }

    fn effort(&self) -> Effort {
        if self.args.deep {
            Effort::Deep
        } else {
            Effort::Enough
        }
    }

    /// Notes whether anything was left undecoded.
    fn note(&mut self, ranking: &Ranking) {
        self.undecoded |= ranking
            .candidates
            .first()
            .is_none_or(|candidate| candidate.probability < ranking.none);
    }

    fn show(
        &mut self,
        reading: &Reading,
        ranking: &Ranking,
        console: &mut Console,
    ) -> Result<(), Failure> {
        if self.args.brief {
            text::brief(self.loaded, reading, ranking, console)?;
        } else {
            text::answer(self.loaded, reading, ranking, self.args.limit, console)?;
        }
        match self.because(reading) {
            Some(because) => present::why::text(self.loaded, reading, &because, console),
            None => Ok(()),
        }
    }

    fn wire(&mut self, reading: &Reading, ranking: &Ranking) -> wire::WireReading {
        let because = self
            .because(reading)
            .map(|because| present::why::wire(self.loaded, &because));
        wire::reading(self.loaded, reading, ranking, self.args.limit).because(because)
    }

    /// How the family asked for takes a reading.
    fn because(&mut self, reading: &Reading) -> Option<Why> {
        let family = self.why?;
        let decoder = self.loaded.rules.decoder();
        Some(why(
            &decoder,
            family,
            reading,
            &self.context,
            &mut self.scratch,
        ))
    }
}

/// Readings from standard input, one package a line; every line is answered.
fn stream(job: &mut Job<'_>, output: Output, console: &mut Console) -> Result<(), Failure> {
    let mut readings = Vec::new();
    let mut input = std::io::stdin().lock();
    let mut bytes = Vec::new();
    let (mut number, mut answered) = (0_usize, 0_usize);
    loop {
        bytes.clear();
        if input.read_until(b'\n', &mut bytes)? == 0 {
            break;
        }
        number += 1;
        while bytes
            .last()
            .is_some_and(|byte| matches!(byte, b'\n' | b'\r'))
        {
            bytes.pop();
        }
        let text = match std::str::from_utf8(&bytes) {
            Ok(text) => text,
            Err(error) => {
                console.flush()?;
                let what = format!(
                    "line {number} of standard input is no UTF-8: byte {} begins no character",
                    error.valid_up_to() + 1
                );
                return Err(Failure::Unreadable(
                    what,
                    "convert the input to UTF-8".to_owned(),
                ));
            }
        };
        if text.trim().is_empty() {
            if output == Output::Jsonl {
                console.line(&wire::line(&wire::unread(text, "empty"))?)?;
                answered += 1;
            }
            continue;
        }
        answered += 1;
        if text.len() > MAX_READING {
            job.undecoded = true;
            let why = format!(
                "line {number} is {} bytes long; at most {MAX_READING} are read as one package",
                text.len()
            );
            match output {
                Output::Jsonl => console.line(&wire::line(&wire::unread(text, &why))?)?,
                Output::Json => readings.push(wire::unread(text, &why)),
                Output::Text | Output::Sarif => console.complain(&format!("warning: {why}")),
            }
            continue;
        }
        let reading = match job.reading(std::slice::from_ref(&text.to_owned())) {
            Ok(reading) => reading,
            Err(failure) => {
                job.undecoded = true;
                let why = failure.to_string();
                match output {
                    Output::Jsonl => console.line(&wire::line(&wire::unread(text, &why))?)?,
                    Output::Json => readings.push(wire::unread(text, &why)),
                    Output::Text | Output::Sarif => {
                        console.complain(&format!("line {number}: {why}"))
                    }
                }
                continue;
            }
        };
        let ranking = job.rank(&reading);
        match output {
            Output::Text | Output::Sarif => {
                if answered > 1 && !job.args.brief {
                    console.line("")?;
                }
                job.show(&reading, &ranking, console)?;
            }
            Output::Json => readings.push(job.wire(&reading, &ranking)),
            Output::Jsonl => console.line(&wire::line(&job.wire(&reading, &ranking))?)?,
        }
    }
    if answered == 0 {
        return Err(Failure::Usage(
            "there is nothing to decode: standard input is empty".to_owned(),
            "give the printed lines as arguments, or one package a line on standard input"
                .to_owned(),
        ));
    }
    if output == Output::Json {
        console.line(&wire::document(job.loaded, job.context.seen, readings)?)?;
    }
    Ok(())
}

/// Specimens of parts: each argument one, or each line of standard input, where an empty line ends a part.
fn specimens(job: &mut Job<'_>, output: Output, console: &mut Console) -> Result<(), Failure> {
    let parts: Vec<Vec<String>> = if job.args.lines.is_empty() {
        let text = std::io::read_to_string(std::io::stdin().lock()).map_err(|error| {
            Failure::Unreadable(
                format!("standard input cannot be read: {error}"),
                "give it as UTF-8 text".to_owned(),
            )
        })?;
        let lines: Vec<String> = text.lines().map(|line| line.trim().to_owned()).collect();
        lines
            .split(String::is_empty)
            .filter(|part| !part.is_empty())
            .map(<[String]>::to_vec)
            .collect()
    } else {
        vec![job.args.lines.clone()]
    };
    if parts.is_empty() {
        return Err(Failure::Usage(
            "there is nothing to decode: standard input is empty".to_owned(),
            "give one specimen an argument or a line; ` | ` parts its printed lines".to_owned(),
        ));
    }
    let mut answers = Vec::new();
    for (at, part) in parts.iter().enumerate() {
        if part.len() > MAX_SPECIMENS {
            return Err(Failure::Usage(
                format!("these are {} specimens of one part", part.len()),
                format!("at most {MAX_SPECIMENS} are read together; leave out the worst ones"),
            ));
        }
        if let Some(long) = part.iter().find(|text| text.len() > MAX_READING) {
            return Err(Failure::Usage(
                format!("one specimen is {} bytes long", long.len()),
                format!("at most {MAX_READING} are read as one package"),
            ));
        }
        let readings = part
            .iter()
            .map(|text| job.reading(std::slice::from_ref(text)))
            .collect::<Result<Vec<_>, _>>()?;
        let all = job.rank_all(&readings);
        match output {
            Output::Text | Output::Sarif => {
                if at > 0 && !job.args.brief {
                    console.line("")?;
                }
                if job.args.brief {
                    text::brief(job.loaded, &all.reading, &all.ranking, console)?;
                } else {
                    text::specimens(job.loaded, &all, job.args.limit, console)?;
                }
            }
            Output::Json => answers.push(wire::specimens(job.loaded, &all, job.args.limit)),
            Output::Jsonl => console.line(&wire::line(&wire::specimens(
                job.loaded,
                &all,
                job.args.limit,
            ))?)?,
        }
    }
    if output == Output::Json {
        console.line(&wire::document(job.loaded, job.context.seen, answers)?)?;
    }
    Ok(())
}

/// Reading, answer, next, on a terminal.
fn session(job: &mut Job<'_>, console: &mut Console) -> Result<(), Failure> {
    console.line("Type what is printed, lines parted by ` | `; an empty line ends.")?;
    let mut line = String::new();
    loop {
        console.flush()?;
        let _ = write!(std::io::stderr(), "mark: ");
        line.clear();
        if std::io::stdin().read_line(&mut line)? == 0 || line.trim().is_empty() {
            return Ok(());
        }
        match job.reading(&[line.trim().to_owned()]) {
            Ok(reading) => {
                let ranking = job.rank(&reading);
                job.show(&reading, &ranking, console)?;
                console.line("")?;
            }
            Err(failure) => console.complain(&failure),
        }
    }
}

fn form(word: &str) -> Result<Option<FormKind>, Failure> {
    if word == "any" {
        return Ok(None);
    }
    FormKind::of_word(word).map(Some).ok_or_else(|| {
        let words: Vec<&str> = FormKind::ALL.iter().map(|(_, word)| *word).collect();
        Failure::Usage(
            format!("no form is called `{word}`"),
            format!("forms: {}, any", words.join(", ")),
        )
    })
}

fn context(args: &DecodeArgs) -> Result<Context, Failure> {
    let seen = day_of_reading(args.seen.as_deref())?;
    let made = match &args.made {
        None => None,
        Some(text) => Some(Interval::parse_stretch(text).ok_or_else(|| {
            Failure::Usage(
                format!("`{text}` is no time of making"),
                "write it as 2018..2020, earlier date first".to_owned(),
            )
        })?),
    };
    if let Some(function) = &args.function {
        let known = etchlore_engine::check::vocabulary::FUNCTIONS;
        if !known
            .iter()
            .any(|word| word == function || word.starts_with(&format!("{function}/")))
        {
            return Err(Failure::Usage(
                format!("no function is called `{function}`"),
                format!("functions: {}", known.join(" ")),
            ));
        }
    }
    Ok(Context {
        seen,
        entry: false,
        made,
        maker: args.maker.clone(),
        logo: args.logo.clone(),
        function: args.function.clone(),
        package: args.package.clone(),
        pins: args.pins,
        around: Vec::new(),
    })
}
