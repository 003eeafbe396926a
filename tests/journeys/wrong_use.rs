//! Wrong use gets a clear message and the promised status.

use crate::harness::{etchlore, run, run_with};

fn says(arguments: &[&str], status: i32, words: &[&str]) {
    let run = run(arguments);
    assert_eq!(run.status, status, "{arguments:?}: {}", run.err);
    for word in words {
        assert!(
            run.err.contains(word),
            "{arguments:?}: `{word}` is missing in: {}",
            run.err
        );
    }
    assert!(!run.err.contains("panicked"), "{}", run.err);
}

#[test]
fn wrong_arguments() {
    says(&["decode", "--colour"], 2, &["--colour", "--color"]);
    says(&["decod"], 2, &["decode"]);
    says(&["decode", "--form", "topp", "X1"], 2, &["topp", "top"]);
    says(
        &["decode", "--seen", "2026-13-01", "X1"],
        2,
        &["2026-13-01", "2026-11-25"],
    );
    says(
        &["decode", "--made", "2020..2018", "X1"],
        2,
        &["2020..2018"],
    );
    says(
        &["decode", "--function", "memory/flash", "X1"],
        2,
        &["memory/flash", "memory/nor"],
    );
    says(&["rules", "show", "winbond_w25"], 2, &["winbond_w25q"]);
    says(&["rules", "about", "code-twise"], 2, &["code-twice"]);
    says(&["decode", "W25{B8"], 2, &["not closed", "^"]);
    says(&["decode", "{}"], 2, &["between the braces"]);
    says(&["decode", ""], 2, &["nothing to read"]);
}

#[test]
fn missing_and_broken_rule_files() {
    says(
        &["decode", "--rules", "no-such-file.lore", "X1"],
        3,
        &["no-such-file.lore"],
    );
    let folder = tempfile::tempdir().unwrap();
    let empty = folder.path().join("empty");
    std::fs::create_dir(&empty).unwrap();
    says(
        &["rules", "check", empty.to_str().unwrap()],
        3,
        &["no rule file"],
    );
    let latin = folder.path().join("latin.lore");
    std::fs::write(&latin, b"lore 1\n# caf\xe9\n").unwrap();
    says(
        &["decode", "--rules", latin.to_str().unwrap(), "X1"],
        3,
        &["UTF-8", "line 2"],
    );
    let broken = folder.path().join("broken.lore");
    std::fs::write(&broken, "lore 1\nfamily a   A\n  top  nothing_here\n").unwrap();
    says(
        &["decode", "--rules", broken.to_str().unwrap(), "X1"],
        3,
        &["unknown-name", "nothing was decoded"],
    );
}

#[test]
fn a_path_out_of_the_rule_set_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("secret.lore"), "lore 1\n").unwrap();
    let inside = folder.path().join("set");
    std::fs::create_dir(&inside).unwrap();
    std::fs::write(inside.join("a.lore"), "lore 1\nuse \"../secret.lore\"\n").unwrap();
    let run = run(&["rules", "check", inside.to_str().unwrap()]);
    assert!(
        run.out.contains("out of the rule set"),
        "{}{}",
        run.out,
        run.err
    );
}

#[test]
fn odd_input() {
    let empty = run_with(etchlore(&["decode"]), b"");
    assert_eq!(empty.status, 2);
    assert!(
        empty.err.contains("standard input is empty"),
        "{}",
        empty.err
    );
    let latin = run_with(
        etchlore(&["decode", "--output", "jsonl"]),
        b"25Q128JVSQ\ncaf\xe9\n",
    );
    assert_eq!(latin.status, 3);
    assert!(latin.err.contains("line 2"), "{}", latin.err);
    assert_eq!(latin.out.lines().count(), 1, "what came before is answered");
    let long = run_with(
        etchlore(&["decode", "--output", "jsonl"]),
        &[b"X".repeat(10_000), b"\n25Q128JVSQ\n".to_vec()].concat(),
    );
    assert_eq!(long.status, 0);
    assert_eq!(long.out.lines().count(), 2);
    assert!(long.out.contains("10000 bytes long"), "{}", long.out);
    let nul = run_with(
        etchlore(&["decode", "--output", "jsonl"]),
        b"25Q\x00128\n\t\n",
    );
    assert_eq!(nul.status, 0, "{}", nul.err);
}

#[cfg(unix)]
#[test]
fn a_closed_pipe_is_no_failure() {
    use std::process::Stdio;
    let mut child = etchlore(&["decode", "--output", "jsonl"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let mut input = child.stdin.take().unwrap();
    let _ = std::io::Write::write_all(&mut input, "25Q128JVSQ\n".repeat(5_000).as_bytes());
    drop(input);
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert!(
        output.stderr.is_empty(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
}
