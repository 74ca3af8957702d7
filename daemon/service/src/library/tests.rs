use std::fs;

use program::Verdict;

use super::*;
use crate::job::prepare;
use planning::NotSealed;

const SQUARE: &str =
    "G21 G90\nG0 X100 Y100\nM3\nG1 X110 Y100 F1100\nG1 X160\nG1 Y160\nG1 X110\nG1 Y99\nM5\nM30\n";
const SETUP: &str = "material = \"mild-steel\"\nthickness = 5\nsheet = [300, 250]\norigin = [0, 0]\nclamp = [20, 20]\nchart = \"mild-steel 5 mm 40 A\"\n";

struct Shop {
    dir: tempfile::TempDir,
    library: Library,
}

fn shop(files: &[(&str, &str)]) -> Shop {
    let dir = tempfile::tempdir().expect("a folder");
    fs::create_dir(dir.path().join(PROGRAMS)).expect("a folder");
    for (name, text) in files {
        fs::write(dir.path().join(PROGRAMS).join(name), text).expect("a file");
    }
    let library = Library::new(Arc::new(Config::built_in()), dir.path(), None, None);
    Shop { dir, library }
}

#[test]
fn the_demonstration_is_listed_and_marked_as_invented() {
    let list = shop(&[]).library.list();
    assert!(list.len() >= 5, "{list:?}");
    for listed in &list {
        assert!(
            listed.id.starts_with("demo/") && listed.invented,
            "{listed:?}"
        );
    }
    assert!(list.iter().any(|l| l.name == "Hinge plates"));
}

#[test]
fn every_program_of_the_demonstration_can_be_read_and_drawn() {
    let shop = shop(&[]);
    for listed in shop.library.list() {
        let chosen = shop.library.choose(&listed.id).expect("it can be read");
        assert!(chosen.prepared.setup.is_some(), "{} has a setup", listed.id);
        assert_eq!(chosen.drawing.cuts.len(), chosen.prepared.report.cuts);
        assert!(chosen.drawing.sheet.is_some());
    }
}

#[test]
fn own_programs_come_first_and_what_is_no_program_is_left_out() {
    let files = [
        ("bracket.nc", SQUARE),
        ("bracket.toml", SETUP),
        ("notes.md", "call the customer"),
        (".half-written.nc", "G21"),
    ];
    let shop = shop(&files);
    let own: Vec<Listed> = shop
        .library
        .list()
        .into_iter()
        .filter(|l| !l.invented)
        .collect();
    assert_eq!(own.len(), 1);
    assert_eq!(own[0].id, "own/bracket.nc");
    assert_eq!(shop.library.list()[0], own[0]);
}

#[test]
fn an_id_is_looked_up_and_never_used_as_a_path() {
    let shop = shop(&[("bracket.nc", SQUARE)]);
    fs::write(shop.dir.path().join("secret.nc"), SQUARE).expect("a file");
    for id in [
        "own/../secret.nc",
        "../secret.nc",
        "/etc/passwd",
        "own/",
        "",
        "demo/../standclear.toml",
        "own/bracket.toml",
    ] {
        let error = shop.library.choose(id).expect_err(id);
        assert!(
            matches!(error, LibraryError::NoSuchProgram(_)),
            "{id}: {error}"
        );
    }
}

#[test]
fn a_setup_that_is_wrong_is_told_with_its_file_and_key() {
    let shop = shop(&[
        ("bracket.nc", SQUARE),
        ("bracket.toml", "materil = \"steel\""),
    ]);
    let error = shop
        .library
        .choose("own/bracket.nc")
        .expect_err("a bad setup");
    let says = error.to_string();
    assert!(
        says.contains("bracket.toml") && says.contains("materil"),
        "{says}"
    );
}

#[test]
fn a_program_that_was_changed_since_it_was_read_is_not_loaded() {
    let shop = shop(&[("bracket.nc", SQUARE), ("bracket.toml", SETUP)]);
    let seen = shop
        .library
        .choose("own/bracket.nc")
        .expect("it can be read");
    let file = shop.dir.path().join(PROGRAMS).join("bracket.toml");
    fs::write(file, SETUP.replace("thickness = 5", "thickness = 3")).expect("a file");
    let error = shop
        .library
        .seal("own/bracket.nc", &seen.version, &[])
        .expect_err("changed");
    assert!(matches!(error, LibraryError::Changed(_)), "{error}");
}

#[test]
fn a_refused_program_has_no_seal_whatever_is_accepted() {
    let left_on = SQUARE.replace("M5\n", "");
    let shop = shop(&[("bracket.nc", &left_on), ("bracket.toml", SETUP)]);
    let seen = shop
        .library
        .choose("own/bracket.nc")
        .expect("it can be read");
    assert_eq!(seen.prepared.report.verdict, Verdict::Refused);
    let error = shop
        .library
        .seal("own/bracket.nc", &seen.version, &[])
        .expect_err("refused");
    assert!(
        matches!(error, LibraryError::NotSealed(NotSealed::NoSeal(_))),
        "{error}"
    );
    // What refuses cannot be accepted like a warning.
    let k = (seen.prepared.report.findings.iter())
        .position(|f| f.severity == Severity::Refuse)
        .expect("a refusal");
    let accepted = Accepted {
        finding: k,
        rule: seen.prepared.report.findings[k].rule.clone(),
        reason: "looked at".into(),
    };
    let error = shop
        .library
        .seal("own/bracket.nc", &seen.version, &[accepted])
        .expect_err("refused");
    assert!(error.to_string().contains("is not a warning"), "{error}");
}

#[test]
fn each_warning_is_accepted_by_itself_with_a_reason() {
    let report = Report {
        verdict: Verdict::Warned,
        cuts: 1,
        pierces: 1,
        cut_mm: 100.0,
        rapid_mm: 0.0,
        time_s: None,
        bounds: None,
        not_judged: Vec::new(),
        lacks: Vec::new(),
        findings: vec![program::Finding {
            rule: "near-edge".into(),
            severity: Severity::Warn,
            line: Some(3),
            column: None,
            cut: Some(1),
            cuts: vec![1],
            at: None,
            says: "3 mm from the edge; the limit is 5 mm".into(),
            remedy: "Move it.".into(),
            under: None,
            more: 0,
        }],
    };
    let accept = |finding: usize, rule: &str, reason: &str| {
        let one = Accepted {
            finding,
            rule: rule.into(),
            reason: reason.into(),
        };
        acceptances(&report, &[one]).map_err(|e| e.to_string())
    };
    assert_eq!(
        accept(0, "near-edge", " looked at ").expect("fits")[0].reason,
        "looked at"
    );
    for (finding, rule, reason, says) in [
        (1, "near-edge", "looked at", "no finding 1"),
        (0, "on-clamp", "looked at", "is `near-edge`"),
        (0, "near-edge", "  ", "has no reason"),
        (
            0,
            "near-edge",
            &"x".repeat(REASON_CHARS_MAX + 1),
            "longer than",
        ),
    ] {
        let error = accept(finding, rule, reason).expect_err(says);
        assert!(error.contains(says), "{error}");
    }
}

#[test]
fn a_program_of_the_command_line_is_what_the_console_opens_on() {
    let config = Arc::new(Config::built_in());
    let dir = tempfile::tempdir().expect("a folder");
    let setup = program::Setup::from_toml(SETUP).expect("a setup");
    let given = prepare(&config, "gate stop", SQUARE.as_bytes(), Some(setup));
    let library = Library::new(config.clone(), dir.path(), None, Some(Arc::new(given)));
    assert_eq!(library.opens_on().as_deref(), Some("given"));
    assert_eq!(library.list()[0].name, "gate stop");
    assert!(library.choose("given").is_ok());

    let hinge = demo("hinge-plates").expect("the demonstration");
    let given = prepare(&config, &hinge.name, &hinge.text, Some(hinge.setup));
    let library = Library::new(config, dir.path(), None, Some(Arc::new(given)));
    assert_eq!(library.opens_on().as_deref(), Some("demo/hinge-plates.nc"));
}

fn given() -> (Library, tempfile::TempDir) {
    let (config, dir) = (Arc::new(Config::built_in()), tempfile::tempdir());
    let (dir, setup) = (dir.expect("a folder"), program::Setup::from_toml(SETUP));
    let setup = setup.expect("a setup");
    let given = prepare(&config, "gate stop", SQUARE.as_bytes(), Some(setup));
    let library = Library::new(config, dir.path(), None, Some(Arc::new(given)));
    (library, dir)
}

/// Torch parts after so many starts.
fn after(starts: f64) -> Option<Set> {
    Some(Set {
        starts,
        minutes: 1.0,
        losses: 0.0,
        starts_life: 600.0,
        minutes_life: 120.0,
    })
}

#[test]
fn a_program_of_the_command_line_is_not_vetted_again_for_nobody() {
    struct Gone;
    impl Watch for Gone {
        fn go_on(&self) -> bool {
            false
        }
    }
    let (library, _dir) = given();
    let first = library.choose("given").expect("vetted");
    library.reckon_with(after(3.0));
    let again = library.vetted_again(&first, after(3.0), &Gone);
    assert!(matches!(again, Err(LibraryError::Stopped)), "{again:?}");
    let known = lock(&library.given).clone().expect("still there");
    assert_eq!(known.counted, first.counted);
    let again = library.choose("given").expect("vetted again");
    assert_eq!(again.counted, after(3.0));
}

#[test]
fn of_two_vettings_of_the_command_lines_program_the_older_one_is_not_kept() {
    struct Changed<'a>(&'a Library);
    impl Watch for Changed<'_> {
        fn phase(&self, _: &'static str) {
            self.0.reckon_with(after(4.0));
        }
    }
    let (library, _dir) = given();
    let first = library.choose("given").expect("vetted");
    library.reckon_with(after(3.0));
    let older = library.vetted_again(&first, after(3.0), &Changed(&library));
    assert_eq!(older.expect("vetted").counted, after(3.0));
    let known = lock(&library.given).clone().expect("still there");
    assert_eq!(known.counted, first.counted, "another one is due");
    assert_eq!(library.choose("given").expect("vetted").counted, after(4.0));
}

#[test]
fn a_sealed_job_can_be_drawn_by_its_seal() {
    let shop = shop(&[("bracket.nc", SQUARE), ("bracket.toml", SETUP)]);
    let seen = shop
        .library
        .choose("own/bracket.nc")
        .expect("it can be read");
    let accepted: Vec<Accepted> = (seen.prepared.report.findings.iter().enumerate())
        .filter(|(_, f)| f.severity == Severity::Warn)
        .map(|(finding, f)| Accepted {
            finding,
            rule: f.rule.clone(),
            reason: "looked at".into(),
        })
        .collect();
    let job = (shop
        .library
        .seal("own/bracket.nc", &seen.version, &accepted))
    .unwrap_or_else(|e| panic!("{e}: {:?}", seen.prepared.report.findings));
    let drawn = shop
        .library
        .job(job.seal.hash())
        .expect("it was sealed here");
    assert_eq!(drawn.accepted, accepted.len());
    assert_eq!(drawn.drawing.clamp, Some(Point::new(20.0, 20.0)));
    assert!(!drawn.invented);
    assert!(shop.library.job("0000").is_none());
}

fn brought(file: &str) -> Brought {
    Brought {
        file: file.into(),
        text: SQUARE.into(),
        setup: Some(SETUP.into()),
        replaces: None,
    }
}

#[test]
fn a_program_that_is_sent_is_listed_and_vetted_with_its_setup() {
    let shop = shop(&[]);
    let listed = shop.library.bring(&brought("bracket-2.nc")).expect("kept");
    assert_eq!(listed.id, "own/bracket-2.nc");
    let chosen = shop.library.choose(&listed.id).expect("read");
    assert_eq!(chosen.prepared.report.verdict, Verdict::Clear);
    let folder = shop.dir.path().join(PROGRAMS);
    let mut there: Vec<_> = fs::read_dir(folder)
        .expect("there")
        .map(|e| {
            e.expect("an entry")
                .file_name()
                .into_string()
                .expect("a name")
        })
        .collect();
    there.sort();
    assert_eq!(
        there,
        ["bracket-2.nc", "bracket-2.toml"],
        "nothing half written"
    );
}

#[test]
fn a_name_that_leads_away_or_is_none_is_not_taken() {
    let shop = shop(&[]);
    for name in [
        "",
        ".nc",
        ".hidden.nc",
        "../out.nc",
        "a/b.nc",
        "/etc/x.nc",
        "a\\b.nc",
        "a\nb.nc",
        "a\0.nc",
        "part.toml",
        "part",
        "part.sh",
        "-rf.nc",
        " part.nc",
        "a\u{202e}cn.nc",
        "con:part.nc",
    ] {
        let not = shop.library.bring(&brought(name)).expect_err(name);
        assert!(matches!(not, NotTaken::Name(_)), "{name}: {not}");
    }
    let long = format!("{}.nc", "x".repeat(80));
    assert!(matches!(
        shop.library.bring(&brought(&long)),
        Err(NotTaken::Name(_))
    ));
    assert!(shop.library.bring(&brought("Träger 2.NC")).is_ok());
    assert_eq!(
        fs::read_dir(shop.dir.path()).expect("there").count(),
        1,
        "nothing beside the folder"
    );
}

#[test]
fn nothing_is_written_over_unless_the_sender_knows_what() {
    let shop = shop(&[("part.nc", "G21\nM30\n"), ("lone.toml", SETUP)]);
    let kept =
        |file: &str| fs::read_to_string(shop.dir.path().join(PROGRAMS).join(file)).expect("there");
    let there = NotTaken::There("part.nc".into());
    assert_eq!(shop.library.bring(&brought("part.nc")), Err(there.clone()));
    assert_eq!(shop.library.bring(&brought("PART.nc")), Err(there));
    assert_eq!(kept("part.nc"), "G21\nM30\n");
    let version = shop
        .library
        .choose("own/part.nc")
        .expect("read")
        .version
        .clone();
    let over = |replaces: &str| Brought {
        replaces: Some(replaces.into()),
        ..brought("part.nc")
    };
    assert!(matches!(
        shop.library.bring(&over("another")),
        Err(NotTaken::Changed(_))
    ));
    assert_eq!(kept("part.nc"), "G21\nM30\n");
    assert!(shop.library.bring(&over(&version)).is_ok());
    assert_eq!(kept("part.nc"), SQUARE);
    assert!(
        matches!(
            shop.library.bring(&over(&version)),
            Err(NotTaken::Changed(_))
        ),
        "once"
    );
    // A program is not laid beside a setup that its sender has not seen, nor a setup beside another program.
    let alone = |file: &str| Brought {
        setup: None,
        ..brought(file)
    };
    assert!(matches!(
        shop.library.bring(&alone("lone.nc")),
        Err(NotTaken::OthersSetup(_))
    ));
    assert!(matches!(
        shop.library.bring(&brought("part.ngc")),
        Err(NotTaken::OthersSetup(_))
    ));
    assert!(!shop.dir.path().join(PROGRAMS).join("lone.nc").exists());
}

#[test]
fn too_long_empty_and_wrong_setups_are_not_taken() {
    let shop = shop(&[]);
    let with = |text: String, setup: Option<String>| Brought {
        text,
        setup,
        ..brought("part.nc")
    };
    let long = "x".repeat(BROUGHT_BYTES_MAX + 1);
    for text in [String::new(), long] {
        assert_eq!(shop.library.bring(&with(text, None)), Err(NotTaken::Length));
    }
    let not = shop
        .library
        .bring(&with(SQUARE.into(), Some("thickness = ".into())));
    assert!(matches!(not, Err(NotTaken::Setup(_))), "{not:?}");
    assert!(shop.library.list().iter().all(|l| l.invented));
}
