//! Parts lists: every row back, whatever the file is like.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

use crate::harness::{Run, etchlore, root, run_with};

/// Our columns where no fields are asked for.
const OURS: [&str; 5] = [
    "etch_status",
    "etch_family",
    "etch_maker",
    "etch_probability",
    "etch_written",
];

/// A run with the demo's rules alone.
fn bulk(arguments: &[&str], input: &[u8]) -> Run {
    let all = [
        &["bulk", "--no-builtin", "--rules", "rules-demo"],
        arguments,
    ]
    .concat();
    run_with(etchlore(&all), input)
}

/// The records of a table, and where each begins.
fn records(text: &[u8], delimiter: u8) -> Vec<(usize, Vec<Vec<u8>>)> {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .from_reader(text);
    reader
        .byte_records()
        .map(|record| {
            let record = record.unwrap();
            let at = record.position().unwrap().byte() as usize;
            (at, record.iter().map(<[u8]>::to_vec).collect())
        })
        .collect()
}

fn cells(row: &[&str]) -> Vec<Vec<u8>> {
    row.iter().map(|cell| cell.as_bytes().to_vec()).collect()
}

/// Runs a table through and holds every row, cell and byte of it against what comes back.
fn kept(input: &[u8], arguments: &[&str]) -> Vec<Vec<Vec<u8>>> {
    let folder = tempfile::tempdir().unwrap();
    let (from, to) = (folder.path().join("in.csv"), folder.path().join("out.csv"));
    std::fs::write(&from, input).unwrap();
    let all = [
        &[from.to_str().unwrap(), "-o", to.to_str().unwrap()],
        arguments,
    ]
    .concat();
    let run = bulk(&all, b"");
    assert_eq!(run.status, 0, "{}", run.err);
    let output = std::fs::read(&to).unwrap();
    let (before, after) = (records(input, b','), records(&output, b','));
    assert_eq!(before.len(), after.len(), "rows: {}", run.err);
    let width = before.iter().map(|(_, row)| row.len()).max().unwrap_or(0);
    for (at, ((from, row), (to, answered))) in before.iter().zip(&after).enumerate() {
        assert_eq!(answered[..row.len()], row[..], "row {at}");
        let padded = row.len().max(width);
        assert_eq!(answered.len(), padded + 5, "row {at} has our columns");
        let next = before.get(at + 1).map_or(input.len(), |(next, _)| *next);
        let mut bytes = &input[*from..next];
        while let [rest @ .., b'\n' | b'\r'] = bytes {
            bytes = rest;
        }
        while let [b'\n' | b'\r', rest @ ..] = bytes {
            bytes = rest;
        }
        let mut copied = &output[*to..];
        while let [b'\n' | b'\r', rest @ ..] = copied {
            copied = rest;
        }
        assert!(copied.starts_with(bytes), "row {at} byte for byte");
    }
    let ends = |bytes: &[u8]| bytes.last() == Some(&b'\n');
    assert_eq!(ends(input), ends(&output), "the last line's end");
    after.into_iter().map(|(_, row)| row).collect()
}

#[test]
fn every_row_comes_back_byte_for_byte() {
    let rows = kept(
        b"ref,mark,qty\nU1,HMS4D1G16A-F6,1\r\nU2,\"HMQ64BL-SWI\",\"2\"\nU3,,3\nU4,nothing known,4\n",
        &[],
    );
    assert_eq!(
        rows[0],
        cells(&[&["ref", "mark", "qty"], &OURS[..]].concat())
    );
    let status: Vec<&[u8]> = rows[1..].iter().map(|row| row[3].as_slice()).collect();
    assert_eq!(
        status,
        [b"decoded".as_slice(), b"decoded", b"empty", b"none"]
    );
    assert_eq!(rows[1][4..6], cells(&["hm_sdram", "Halvorsen Memory AS"]));
    assert_eq!(rows[1][7], b"HMS4D1G16A-FC6");
    assert_eq!(rows[4][4..], cells(&["", "", "", ""]));
}

#[test]
fn ugly_tables_come_back() {
    let long = format!(
        "ref,mark,note\nU1,HMQ64BL-SWI,\"{}\n{}\"\nU2,HMS4D1G16A-F6,x\n",
        "a, \"\"b\"\" ".repeat(300_000),
        "c".repeat(2_000_000)
    );
    let tables: &[&[u8]] = &[
        // Rows that are too short and too long.
        b"ref,mark,note\nU1\nU2,HMQ64BL-SWI\nU3,HMQ64BL-SWI,x,y,z\nU4,HMQ64BL-SWI,x\n",
        // Line ends in cells, empty lines between rows, all three line ends.
        b"ref,mark,note\n\n\nU1,HMQ64BL-SWI,\"two\nlines\"\r\n\r\nU2,\"HMS4D1G16A-F6\r\n0814 K2Z7\",x\nU3,q,w\r\n",
        // Zeros.
        b"ref,mark,note\nU1,HMQ64BL-SWI,a\0b\n\0,HMS\0,\0\n",
        // No end of the last line; a mark of the byte order; names twice; names that are ours.
        b"ref,mark\nU1,HMQ64BL-SWI",
        b"\xef\xbb\xbfref,mark,note\nU1,HMQ64BL-SWI,x\n",
        b"mark,mark,note\nHMQ64BL-SWI,HMS4D1G16A-F6,x\n",
        // Quotes that open nothing, quotes within, text behind quotes.
        b"ref,mark,note\nU1,HMQ64BL-SWI,5\" cable\nU2,\"HMS4D1G16A-F6\"x,\"a \"\"b\"\"\"\n",
        // Formulas of the list are the list's own.
        b"ref,mark,note\n=1+1,HMQ64BL-SWI,@x\n-2,+3,=A1\n",
        // A header alone; nothing.
        b"ref,mark,note\n",
        "ref,mark,note\nR\u{f8}d,HMQ64BL-SWI,4.7 \u{b5}F \u{2126}\n".as_bytes(),
        long.as_bytes(),
    ];
    for table in tables {
        let rows = kept(table, &["--mark", "mark"]);
        assert!(
            rows[0].ends_with(&cells(&OURS)),
            "{}",
            String::from_utf8_lossy(&table[..table.len().min(60)])
        );
    }
}

#[test]
fn an_empty_table_stays_empty() {
    let run = bulk(&["-"], b"");
    assert_eq!((run.status, run.out.as_str()), (0, ""));
    assert!(run.err.contains("0 rows"), "{}", run.err);
}

#[test]
fn a_quote_that_is_never_closed_swallows_no_answer() {
    let input = b"ref,mark,note\nU1,HMQ64BL-SWI,\"open\n";
    let run = bulk(&["-", "--mark", "mark"], input);
    let rows = records(run.out.as_bytes(), b',');
    assert_eq!(rows[1].1[..3], cells(&["U1", "HMQ64BL-SWI", "open\n"]));
    assert_eq!(rows[1].1[3], b"decoded");
}

#[test]
fn ragged_rows_are_marked() {
    let input = b"ref,mark,note\nU1,HMQ64BL-SWI\nU2,HMQ64BL-SWI,x\n";
    let run = bulk(&["-", "--mark", "mark", "--fields", "note"], input);
    assert!(run.out.contains("2 cells instead of 3"), "{}", run.out);
    assert!(
        run.err.contains("1 row with fewer than 3 cells"),
        "{}",
        run.err
    );
    assert!(run.err.contains("first row 1"), "{}", run.err);
}

#[test]
fn names_that_are_ours_already_stay() {
    let first = bulk(&["-", "--mark", "mark"], b"mark\nHMQ64BL-SWI\n");
    let again = bulk(&["-", "--mark", "mark"], first.out.as_bytes());
    let head = again.out.lines().next().unwrap();
    assert!(head.ends_with(
        "etch_written,etch_status_2,etch_family_2,etch_maker_2,etch_probability_2,etch_written_2"
    ));
    let rows = records(again.out.as_bytes(), b',');
    assert_eq!(rows[1].1[1..6], rows[1].1[6..]);
}

#[test]
fn no_cell_of_ours_is_a_formula() {
    let folder = tempfile::tempdir().unwrap();
    let rules = "lore 1\nmaker evil  =cmd|'/C calc'!A1\nfamily zz_evil  Parts\n  maker evil\n  source \"an invented guide\"\n  code  ZZQX  S\n        series  package\n  package gives package\n    S  \"@SUM(A1)\"\n  example ZZQXS\n";
    std::fs::write(folder.path().join("evil.lore"), rules).unwrap();
    let run = run_with(
        etchlore(&[
            "bulk",
            "-",
            "--no-builtin",
            "--rules",
            folder.path().to_str().unwrap(),
            "--mark",
            "mark",
            "--fields",
            "package",
        ]),
        b"mark\nZZQXS\n",
    );
    let rows = records(run.out.as_bytes(), b',');
    assert_eq!(
        rows[1].1[3], b"'=cmd|'/C calc'!A1",
        "{}{}",
        run.out, run.err
    );
    assert_eq!(rows[1].1[6], b"'@SUM(A1)");
}

#[test]
fn delimiter_quotes_and_encoding_are_found() {
    let text = "Pos;Teil;Bemerkung\nU1;HMQ64BL-SWI;3,3 V \u{b5}\nU2;HMS4D1G16A-F6;\u{20ac}\n";
    let utf8 = bulk(&["-"], text.as_bytes());
    assert!(utf8.err.contains("semicolons"), "{}", utf8.err);
    assert!(utf8.err.contains("column 2 `Teil`"), "{}", utf8.err);
    let utf16: Vec<u8> = [0xfeff]
        .into_iter()
        .chain(text.encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect();
    assert_eq!(bulk(&["-"], &utf16).out, utf8.out);
    let cp1252: Vec<u8> = text
        .chars()
        .map(|c| match c {
            '\u{20ac}' => 0x80,
            other => u8::try_from(u32::from(other)).unwrap(),
        })
        .collect();
    let read = bulk(&["-"], &cp1252);
    assert_eq!(read.out, utf8.out);
    assert!(read.err.contains("Windows-1252"), "{}", read.err);
}

/// The demo's list, read as a table.
fn demo() -> Vec<u8> {
    std::fs::read(root().join("rules-demo/lists/sounder.csv")).unwrap()
}

#[test]
fn the_demo_list_is_answered() {
    let run = bulk(
        &[
            "rules-demo/lists/sounder.csv",
            "--fields",
            "density:Mbit,function,date:from",
        ],
        b"",
    );
    assert_eq!(run.status, 0, "{}", run.err);
    let rows = records(run.out.as_bytes(), b';');
    assert_eq!(rows.len(), records(&demo(), b';').len());
    let head = &rows[0].1;
    let own = [
        &OURS[..],
        &["etch_density_Mbit", "etch_function", "etch_date_from"],
    ]
    .concat();
    assert_eq!(head[5..], cells(&own));
    let of = |reference: &str| {
        let row = rows.iter().find(|(_, row)| row[0] == reference.as_bytes());
        row.unwrap().1.clone()
    };
    assert_eq!(of("U1")[10], b"1024");
    assert_eq!(of("U2")[10..12], cells(&["64", "memory/nor"]));
    assert_eq!(of("X2")[12], b"2014-06-01");
    assert_eq!(of("U6")[5], b"empty");
    assert_eq!(of("?")[5], b"none");
    assert!(run.err.contains("the mark is column 3 `Part marking`"));
    assert!(run.err.contains("QQ-#-@ (QQ-77-ZZ) 1"), "{}", run.err);
}

#[test]
fn threads_and_parts_change_no_byte() {
    let mut list = b"ref,mark\n".to_vec();
    let marks = [
        "HMS4D1G16A-F6",
        "HMQ64BL-SWI",
        "TVK864N-16QI",
        "none such",
        "LQR5-3V3D",
        "",
    ];
    for i in 0..30_000 {
        writeln!(list, "U{i},{}", marks[i % 5 + usize::from(i % 7 == 0)]).unwrap();
    }
    let whole = bulk(&["-", "--mark", "mark", "--jobs", "1"], &list);
    assert_eq!(whole.out.lines().count(), 30_001);
    let many = bulk(&["-", "--mark", "mark", "--jobs", "5"], &list);
    assert!(whole.out == many.out && whole.err == many.err);
    // The command as a filter over partitions, as a cluster engine runs it: no header, the column by number.
    let body = &list[b"ref,mark\n".len()..];
    let mut joined = whole.out.lines().next().unwrap().to_owned() + "\n";
    for part in body
        .split_inclusive(|byte| *byte == b'\n')
        .collect::<Vec<_>>()
        .chunks(7_001)
    {
        let run = bulk(&["-", "--mark", "2", "--header", "no"], &part.concat());
        assert_eq!(run.status, 0, "{}", run.err);
        joined += &run.out;
    }
    assert!(joined == whole.out);
}

#[test]
fn the_column_of_the_mark_is_found() {
    let head = ["Pos", "Anzahl", "Was", "Von", "Notiz"];
    let rows: Vec<Vec<String>> = records(&demo(), b';')[1..]
        .iter()
        .map(|(_, row)| {
            row.iter()
                .map(|cell| String::from_utf8(cell.clone()).unwrap().replace('\n', " "))
                .collect()
        })
        .collect();
    let mut order = [0, 1, 2, 3, 4];
    for turn in 0..5 {
        order.rotate_left(1);
        order.swap(0, turn);
        let line = |row: &dyn Fn(usize) -> String| {
            let cells: Vec<String> = order.iter().map(|at| row(*at)).collect();
            cells.join("\t") + "\n"
        };
        let mut table = line(&|at| head[at].to_owned());
        for row in &rows {
            table += &line(&|at| row[at].replace('"', ""));
        }
        let run = bulk(&["-"], table.as_bytes());
        let place = order.iter().position(|at| *at == 2).unwrap() + 1;
        assert!(
            run.err
                .contains(&format!("the mark is column {place} `Was`")),
            "{}",
            run.err
        );
    }
    let run = bulk(&["-"], b"HMQ64BL-SWI,3\nHMS4D1G16A-F6,4\n");
    assert!(
        run.err.contains("no header; the mark is column 1"),
        "{}",
        run.err
    );
    assert_eq!(run.out.lines().count(), 2);
    let run = bulk(&["-"], b"colour,size\nred,small\nblue,large\n");
    assert_eq!(run.status, 2);
    assert!(run.err.contains("--mark COLUMN"), "{}", run.err);
    let run = bulk(&["-", "--mark", "sise"], b"colour,size\nred,small\n");
    assert_eq!(run.status, 2);
    assert!(run.err.contains("did you mean size?"), "{}", run.err);
}

#[test]
fn cells_may_hold_more_than_a_mark() {
    let rows = |marks: &[&str]| -> Vec<Vec<Vec<u8>>> {
        let table: String = marks.iter().map(|mark| format!("\"{mark}\"\n")).collect();
        let run = bulk(
            &["-", "--mark", "mark"],
            format!("mark\n{table}").as_bytes(),
        );
        let rows = records(run.out.as_bytes(), b',').into_iter().skip(1);
        rows.map(|(_, row)| row).collect()
    };
    let all = rows(&[
        "HMQ64BL-SWI, TVK864N-16QI",
        "HMQ64BL-SWI\nHMS4D1G16A-F6",
        "2 x HMQ64BL-SWI",
        "HMQ64BL-SWI (10 pcs)",
        "Halvorsen HMQ64BL-SWI",
        "HMS4D1G16A-F6\n0814 K2Z7",
    ]);
    for row in &all {
        assert_eq!(row[1], b"decoded", "{}", String::from_utf8_lossy(&row[0]));
    }
    assert_eq!(all[0][2], b"hm_flash; tv_micro");
    assert_eq!(all[0][5], b"HMQ64BL-SWI; TVK864N-16QI");
    assert_eq!(all[1][2], b"hm_flash; hm_sdram");
    for row in &all[2..5] {
        assert_eq!(row[5], b"HMQ64BL-SWI");
    }
    assert_eq!(all[5][2], b"hm_sdram");
    // Several columns are the lines of one package.
    let run = bulk(
        &["-", "--mark", "top,second", "--fields", "date"],
        b"top,second\nHMS4D1G16A-F6,0814 K2Z7\n",
    );
    assert!(run.out.contains("2008-03-"), "{}", run.out);
}

/// 4012 (CMOS gates) and 7439 (TTL gates) as parts of the KiCad symbols 6.0.10, libraries 4xxx and 74xx; as marks they are weeks as well: 40 of
/// 2012 and 39 of 1974 (`YYWW` of MIL-PRF-38535 and the other order).
#[test]
fn an_entry_of_a_list_names_a_part() {
    for (number, date, part) in [
        ("4012", "date_wwyy", "cmos_4000"),
        ("7439", "date_yyww", "logic_74"),
    ] {
        let mark = run_with(
            etchlore(&["decode", number, "--output", "json", "--seen", "2026-06-01"]),
            b"",
        );
        let first = mark.out.find("\"family\"").map(|at| &mark.out[at..]);
        let first = first.and_then(|text| text.lines().next()).unwrap();
        assert!(first.contains(date), "{first}");
        let table = format!("part\n{number}\n");
        let list = run_with(
            etchlore(&["bulk", "-", "--mark", "part", "--seen", "2026-06-01"]),
            table.as_bytes(),
        );
        let row = list.out.lines().nth(1).unwrap();
        assert!(row.contains(part), "{row}");
    }
}

#[test]
fn lines_of_json_come_back() {
    let input = "{\"ref\":\"U1\", \"mark\": \"HMQ64BL-SWI\"}\n\n{}\nbroken\n{\"mark\":[\"HMS4D1G16A-F6\",\"0814 K2Z7\"],\"n\":1.50}";
    let run = bulk(
        &["-", "--mark", "mark", "--fields", "density"],
        input.as_bytes(),
    );
    assert_eq!(run.status, 0, "{}", run.err);
    let lines: Vec<&str> = run.out.split('\n').collect();
    assert_eq!(lines.len(), 5);
    assert!(
        lines[0]
            .starts_with("{\"ref\":\"U1\", \"mark\": \"HMQ64BL-SWI\",\"etch_status\":\"decoded\"")
    );
    assert!(lines[0].ends_with(",\"etch_density\":67108864}"));
    assert_eq!(lines[1], "");
    assert!(lines[2].starts_with("{\"etch_status\":\"empty\""));
    assert!(lines[3].starts_with("{\"etch_input\":\"broken\",\"etch_status\":\"none\""));
    assert!(lines[4].starts_with(
        "{\"mark\":[\"HMS4D1G16A-F6\",\"0814 K2Z7\"],\"n\":1.50,\"etch_status\":\"decoded\""
    ));
    for line in lines.iter().filter(|line| !line.is_empty()) {
        assert!(serde_json::from_str::<serde_json::Value>(line).is_ok());
    }
}

#[test]
fn forms_change_and_packing_too() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let input = "ref,mark,note\nU1,HMQ64BL-SWI,\"a, b\"\nU2,HMS4D1G16A-F6,=1+1\nU3,,\n";
    std::fs::write(file("in.csv"), input).unwrap();
    let convert = |from: &str, to: &str| {
        let run = bulk(&[&file(from), "-o", &file(to), "--mark", "mark"], b"");
        assert_eq!(run.status, 0, "{from} {to}: {}", run.err);
        std::fs::read(file(to)).unwrap()
    };
    let plain = convert("in.csv", "out.csv");
    assert!(convert("in.csv", "out.csv.gz").starts_with(&[0x1f, 0x8b]));
    assert!(convert("in.csv", "out.csv.zst").starts_with(&[0x28, 0xb5, 0x2f, 0xfd]));
    // What is packed is what is plain: our columns stand twice then, with equal cells.
    for packed in ["out.csv.gz", "out.csv.zst"] {
        let twice = records(&convert(packed, "again.csv"), b',');
        let once = records(&plain, b',');
        for ((_, twice), (_, once)) in twice.iter().zip(&once) {
            assert_eq!(twice[..once.len()], once[..]);
        }
        assert_eq!(twice.len(), once.len());
    }
    let sheet = convert("in.csv", "out.xlsx");
    assert!(sheet.starts_with(b"PK"));
    let back = records(&convert("out.xlsx", "back.csv"), b',');
    let once = records(&plain, b',');
    for ((_, back), (_, once)) in back.iter().zip(&once) {
        assert_eq!(back[..once.len()], once[..]);
    }
    assert_eq!(back.len(), once.len());
    let tabs = convert("in.csv", "out.tsv");
    assert_eq!(records(&tabs, b'\t')[1].1, once[1].1);
    let lines = convert("in.csv", "out.jsonl");
    let first: serde_json::Value =
        serde_json::from_slice(lines.split(|byte| *byte == b'\n').next().unwrap()).unwrap();
    assert_eq!(first["note"], "a, b");
    assert_eq!(first["etch_family"], "hm_flash");
    let columns = records(&convert("out.jsonl", "lines.csv"), b',');
    assert_eq!(columns[2].1[..8], once[2].1[..]);
}

#[test]
fn side_tables_tell_the_rest() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let input = "ref,mark,description,maker,date code\n\
        U1,HMQ64BL-SWI,Serial NOR 64 Mbit,Halvorsen,2315\n\
        U2,HMQ64BL-SWI,Serial NOR 32 Mbit,Halvorsen,2315\n\
        U3,HMQ64BL-SWI,memory,Lindqvist,2315\n\
        U4,HMQ64BL-SWI,,,2399\n\
        U5,QQ-77-ZZ,,,\nU6,QQ-78-ZA,,,\n";
    let run = bulk(
        &[
            "-",
            "-o",
            &file("out.csv"),
            "--candidates",
            &file("candidates.csv"),
            "--undecoded",
            &file("undecoded.tsv"),
            "--claims",
            &file("claims.csv"),
        ],
        input.as_bytes(),
    );
    assert_eq!(run.status, 0, "{}", run.err);
    assert!(
        run.err
            .contains("row 2: description says 32 Mbit, the number says 64 Mbit"),
        "{}",
        run.err
    );
    let read = |name: &str| std::fs::read(file(name)).unwrap();
    let claims = records(&read("claims.csv"), b',');
    let rows: Vec<(&[u8], &[u8])> = claims[1..]
        .iter()
        .map(|(_, row)| (row[0].as_slice(), row[1].as_slice()))
        .collect();
    let expected: [(&[u8], &[u8]); 3] = [
        (b"2", b"description"),
        (b"3", b"maker"),
        (b"4", b"date code"),
    ];
    assert_eq!(rows, expected);
    let candidates = records(&read("candidates.csv"), b',');
    assert_eq!(
        candidates[0].1,
        cells(&["row", "rank", "family", "maker", "probability", "written"])
    );
    assert_eq!(candidates[1].1[..3], cells(&["1", "1", "hm_flash"]));
    let undecoded = String::from_utf8(read("undecoded.tsv")).unwrap();
    assert_eq!(
        undecoded,
        "count\tshape\trow\tmark\ttimes\tnote\n2\tQQ-#-@\t5\tQQ-77-ZZ\t1\t\n2\tQQ-#-@\t6\tQQ-78-ZA\t1\t\n"
    );
}

#[test]
fn the_summary_is_a_document_too() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out.csv");
    let run = bulk(
        &["-", "-o", out.to_str().unwrap(), "--output", "json"],
        b"mark\nHMQ64BL-SWI\nnothing\n",
    );
    let summary: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    assert_eq!(summary["rows"], 2);
    assert_eq!(summary["decoded"], 1);
    assert_eq!(summary["makers"][0]["name"], "Halvorsen Memory AS");
    assert!(summary["rules"].as_str().unwrap().starts_with("sha256:"));
    assert_eq!(summary["seen"], "2026-11-25");
}

#[test]
fn wrong_use_says_what_to_do() {
    let cases: &[(&[&str], i32, &str)] = &[
        (&["no-such.csv"], 3, "no-such.csv cannot be read"),
        (&["-", "--fields", "densty"], 2, "did you mean density"),
        (
            &["-", "--fields", "density:mile"],
            2,
            "is no unit of density",
        ),
        (&["-", "--min-probability", "2"], 2, "above 0, at most 1"),
        (&["-", "--delimiter", "ab"], 2, "or `tab`"),
        (
            &["-", "-o", "no-such-folder/out.csv"],
            3,
            "cannot be written",
        ),
    ];
    for (arguments, status, text) in cases {
        let run = bulk(arguments, b"mark\nHMQ64BL-SWI\n");
        assert_eq!(run.status, *status, "{arguments:?} {}", run.err);
        assert!(run.err.contains(text), "{arguments:?} {}", run.err);
    }
    let strict = bulk(&["-", "--strict"], b"mark\nHMQ64BL-SWI\nnothing 1x\n");
    assert_eq!(strict.status, 1);
    let sure = bulk(&["-", "--min-probability", "1"], b"mark\nHMQ64BL-SWI\n");
    assert!(sure.out.contains("ambiguous"), "{}", sure.out);
}

/// A run that waits for more input, with an old file in the place of its output.
fn waiting(folder: &Path) -> (std::process::Child, PathBuf) {
    let out = folder.join("out.csv");
    std::fs::write(&out, "old").unwrap();
    let mut command = etchlore(&[
        "bulk",
        "-",
        "--no-builtin",
        "--rules",
        "rules-demo",
        "--mark",
        "mark",
        "-o",
        out.to_str().unwrap(),
    ]);
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut rows = b"mark\n".to_vec();
    for i in 0..200_000 {
        writeln!(rows, "HMQ64BL-SWI {}", i % 10).unwrap();
    }
    child.stdin.as_mut().unwrap().write_all(&rows).unwrap();
    std::thread::sleep(Duration::from_millis(300));
    (child, out)
}

#[cfg(unix)]
#[test]
fn a_run_that_is_ended_leaves_the_old_file() {
    let folder = tempfile::tempdir().unwrap();
    let (mut child, out) = waiting(folder.path());
    child.kill().unwrap();
    child.wait().unwrap();
    assert_eq!(std::fs::read(&out).unwrap(), b"old");
    let folder = tempfile::tempdir().unwrap();
    let (mut child, out) = waiting(folder.path());
    let stdin = child.stdin.take();
    let asked = std::process::Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status()
        .unwrap();
    assert!(asked.success());
    let output = child.wait_with_output().unwrap();
    drop(stdin);
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(130), "{err}");
    assert!(err.contains("rows were answered"), "{err}");
    assert_eq!(std::fs::read(&out).unwrap(), b"old");
    let left = std::fs::read_dir(folder.path()).unwrap().count();
    assert_eq!(left, 1, "nothing half done is left");
}
