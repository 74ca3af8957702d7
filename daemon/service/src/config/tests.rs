use super::resolve::resolve;
use super::*;
use proptest::prelude::*;

const BOARD: &str = include_str!("../../../../config/machines/example-board.toml");

fn resolved(text: &str) -> Result<Config, ConfigError> {
    resolve("machine.toml", text, &|named| {
        let text = if named.contains("chart") {
            embedded::CHART
        } else {
            embedded::PLAIN
        };
        Ok((named.to_owned(), text.to_owned()))
    })
}

/// The example with one piece of text put in place of another.
fn with(from: &str, to: &str) -> ConfigError {
    assert!(BOARD.contains(from), "the example has no {from:?}");
    resolved(&BOARD.replacen(from, to, 1)).expect_err("it must be refused")
}

#[test]
fn the_built_in_table_is_the_invented_shop() {
    let c = Config::built_in();
    assert_eq!(c.travel, [1300.0, 1300.0, 100.0]);
    assert_eq!(c.motion.accel_mm_s2, 400.0);
    assert_eq!(c.air.compressor_l_min, 170.0);
    assert_eq!(c.link.baud, 115_200);
    assert_eq!(c.link.dialect.name, "plain");
    assert_eq!((c.power.rated_amps, c.power.rated_duty), (60.0, 0.4));
    assert!(c.text.contains("INVENTED DATA"));
    assert!(!c.chart.is_empty());
    assert!(Config::built_in_without_chart().chart.is_empty());
}

#[test]
fn practice_says_which_signals_it_has() {
    let fitted: Vec<_> = Config::built_in().pins.fitted.into_iter().collect();
    let expected = [
        "air_ok",
        "arc_ok",
        "beacon",
        "contact",
        "estop",
        "extraction",
        "fire_on",
        "permit_closed",
        "sense_isolated",
        "sounder",
        "torch_seated",
        "volts",
    ];
    assert_eq!(fitted, expected);
}

#[test]
fn the_example_with_pins_is_accepted_and_labelled() {
    let c = resolved(BOARD).expect("the example is right");
    assert!(c.text.contains("INVENTED DATA"));
    assert_eq!(c.pins.backend, Backend::CharacterDevice);
    assert_eq!(c.pins.chip, "gpiochip0");
    assert_eq!(c.pins.permit, Some(18));
    let estop = c.pins.inputs.iter().find(|i| i.signal == "estop");
    let estop = estop.expect("there is an e-stop");
    assert_eq!(
        (estop.pin, estop.active_high, estop.debounce_ms),
        (19, false, 0)
    );
}

#[test]
fn a_file_is_read_with_the_files_it_names_beside_it() {
    let machines = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/machines");
    for name in ["practice.toml", "example-board.toml"] {
        let file = machines.join(name);
        let config = Config::load(&file).expect("a file of ours is right");
        assert_eq!(config.file.as_deref(), Some(file.as_path()));
        assert!(!config.chart.is_empty());
    }
}

#[test]
fn a_file_that_is_not_there_is_named() {
    let error = Config::load(Path::new("/nowhere/machine.toml")).expect_err("not there");
    let says = error.to_string();
    assert!(
        says.starts_with("/nowhere/machine.toml: cannot be opened"),
        "{says}"
    );
    assert!(
        says.ends_with("Name a machine file that can be read"),
        "{says}"
    );
}

#[test]
fn a_chart_that_is_not_there_is_named_with_its_path() {
    let dir = tempfile::tempdir().expect("a folder");
    let file = dir.path().join("machine.toml");
    let text = BOARD.replace("../charts/invented.toml", "gone.toml");
    std::fs::write(dir.path().join("plain.toml"), embedded::PLAIN).expect("written");
    std::fs::write(&file, text.replace("../dialects/", "")).expect("written");
    let error = Config::load(&file).expect_err("no chart");
    assert_eq!(
        error.file,
        dir.path().join("gone.toml").display().to_string()
    );
}

#[test]
fn an_unknown_key_is_refused_with_its_line() {
    let error = with("lease_ms = 200", "lease = 200");
    let line = BOARD
        .lines()
        .position(|l| l == "lease_ms = 200")
        .expect("there")
        + 1;
    assert!(error.says.starts_with(&format!("line {line}: ")), "{error}");
    assert!(error.says.contains("lease"), "{error}");
}

#[test]
fn a_value_outside_its_range_is_refused_with_line_key_value_and_limits() {
    let error = with("lease_ms = 200", "lease_ms = 900");
    let line = BOARD
        .lines()
        .position(|l| l == "lease_ms = 200")
        .expect("there")
        + 1;
    let says = format!("line {line}: guard.lease_ms is 900 ms, outside 100 to 400 ms");
    assert_eq!(error.says, says);
    assert_eq!(error.remedy, "Give a value from 100 to 400");
}

#[test]
fn a_range_holds_at_its_limit_and_fails_one_step_beyond() {
    for ok in ["lease_ms = 100", "lease_ms = 400"] {
        resolved(&BOARD.replace("lease_ms = 200", ok)).expect("at the limit");
    }
    for bad in ["lease_ms = 99", "lease_ms = 401"] {
        with("lease_ms = 200", bad);
    }
}

#[test]
fn what_vetting_reckons_with_is_read_and_checked() {
    let c = resolved(BOARD).expect("a good file");
    let new = process::Set::default();
    assert_eq!(c.supplies, Some(new));
    assert_eq!(
        (c.motion.feed_max_mm_s, c.air.hose_bar, c.air.post_flow_s),
        (120.0, 0.5, 8.0)
    );
    for (from, to, key) in [
        ("feed_max_mm_s = 120", "feed_max_mm_s = 0", "feed_max_mm_s"),
        ("hose_bar = 0.5", "hose_bar = 6", "air.hose_bar"),
        ("post_flow_s = 8", "post_flow_s = 61", "air.post_flow_s"),
        ("[cycle]", "[cycle]\npost_flow_s = 7", "cycle.post_flow_s"),
        ("skip_touch_mm = 0", "skip_touch_mm = 201", "skip_touch_mm"),
        (
            "skip_touch_run = 3",
            "skip_touch_run = 11",
            "skip_touch_run",
        ),
        (
            "skip_touch_age_s = 60",
            "skip_touch_age_s = 601",
            "skip_touch_age_s",
        ),
        ("starts = 0", "starts = -1", "supplies.starts"),
        (
            "minutes_life = 150",
            "minutes_life = 0",
            "supplies.minutes_life",
        ),
        ("losses = 0", "losses = 0\nage = 3", "age"),
    ] {
        let error = with(from, to);
        assert!(error.says.contains(key), "{to}: {error}");
    }
    let none = BOARD
        .find("[supplies]")
        .and_then(|at| Some((at, BOARD.get(at..)?.find("[words]")?)));
    let (at, long) = none.expect("the section is there");
    let without = format!("{}{}", &BOARD[..at], &BOARD[at + long..]);
    assert_eq!(
        resolved(&without).expect("it may be left out").supplies,
        None
    );
}

#[test]
fn a_value_that_is_no_number_is_refused() {
    assert!(
        with("arc_ok_within_s = 1.5", "arc_ok_within_s = nan")
            .says
            .contains("arc_ok_within_s")
    );
    assert!(
        with("rapid_mm_s = 150", "rapid_mm_s = inf")
            .says
            .contains("rapid_mm_s")
    );
}

#[test]
fn keys_that_contradict_each_other_are_refused() {
    assert!(
        with("slat_top_z = 18", "slat_top_z = 70")
            .says
            .contains("leaves no room")
    );
    assert!(
        with("probe_slow_mm_s = 5", "probe_slow_mm_s = 25")
            .says
            .contains("faster")
    );
    assert!(
        with("arc_lost_ms = 30", "arc_lost_ms = 90")
            .says
            .contains("shorter")
    );
    assert!(
        with("relay_drop_ms = 100", "relay_drop_ms = 25")
            .says
            .contains("longer than relay_drop_ms")
    );
    assert!(
        with("hose_bar = 0.5", "hose_bar = 1.5")
            .says
            .contains("not below start_bar")
    );
    let slow = with("relay_drop_ms = 100", "relay_drop_ms = 19");
    assert!(slow.says.contains("guard.permit_hz is too slow"), "{slow}");
    assert!(
        with("torch_off = [5]", "torch_off = [3]")
            .says
            .contains("M3")
    );
    assert!(
        with("torch_off = [5]", "torch_off = [30]")
            .says
            .contains("M30")
    );
    assert!(
        with("torch_on = [3, 4]", "torch_on = []")
            .says
            .contains("empty")
    );
}

#[test]
fn a_table_without_an_emergency_stop_input_is_refused() {
    let error = with("[pins.inputs.estop]", "[pins.inputs.gate]");
    assert!(error.says.contains("lacks the signal estop"), "{error}");
}

#[test]
fn a_pin_that_reads_a_loose_wire_as_safe_is_refused() {
    let estop = "pin = 19\npull = \"up\"\nclosed_is = \"low\"";
    let error = with(estop, "pin = 19\npull = \"up\"\nclosed_is = \"high\"");
    assert!(
        error
            .says
            .contains("pins.inputs.estop would read as closed"),
        "{error}"
    );
    let error = with(estop, "pin = 19\npull = \"down\"\nclosed_is = \"low\"");
    assert!(error.says.contains("would read as closed"), "{error}");
}

#[test]
fn an_emergency_stop_is_not_debounced() {
    let error = with(
        "pin = 19\npull = \"up\"\nclosed_is = \"low\"\n# Never wait: the wires have acted already, \
         the panel only records and stays cold.\ndebounce_ms = 0",
        "pin = 19\npull = \"up\"\nclosed_is = \"low\"\ndebounce_ms = 1",
    );
    assert!(error.remedy.contains("set 0"), "{error}");
}

#[test]
fn two_signals_on_one_pin_are_refused_by_name() {
    let error = with("pin = 19", "pin = 18");
    assert!(
        error
            .says
            .contains("puts estop on pin 18, which permit has already"),
        "{error}"
    );
}

#[test]
fn outputs_are_optional_have_pins_of_their_own_and_the_extraction_a_time_in_its_range() {
    let outputs = |text: &str| with_outputs(text).map(|c| (c.outputs(), c.pins.outputs));
    let (none, pins) = outputs("").expect("they may be left out");
    assert!(!none.any() && pins.is_empty());
    let (fitted, pins) =
        outputs("[pins.outputs]\nbeacon = 23\nextraction = 25\n").expect("two of them");
    assert!(fitted.beacon && fitted.extraction && !fitted.sounder);
    assert_eq!(pins, [(Output::Beacon, 23), (Output::Extraction, 25)]);
    let lines =
        with_outputs("[pins.outputs]\nbeacon = 23\n").map(|c| c.pins.lines().collect::<Vec<_>>());
    assert!(lines.is_ok_and(|l| l.contains(&("pins.outputs.beacon".into(), 23))));
    for (text, says) in [
        (
            "[pins.outputs]\nbeacon = 18\n",
            "puts beacon on pin 18, which permit has already",
        ),
        (
            "[pins.outputs]\nsounder = 19\n",
            "puts sounder on pin 19, which estop has already",
        ),
        (
            "[pins.outputs]\nbeacon = 23\nsounder = 23\n",
            "puts sounder on pin 23, which beacon has already",
        ),
        (
            "[pins.outputs]\nextraction = 2\n",
            "pins.reserved.i2c keeps for i2c",
        ),
        ("[pins.outputs]\nsiren = 23\n", "unknown field `siren`"),
    ] {
        let error = outputs(text).expect_err(text);
        assert!(error.says.contains(says), "{text}: {error}");
    }
    let error = with("after_s = 120", "after_s = 3601");
    assert!(
        error.says.contains("extraction.after_s") && error.says.contains("3600"),
        "{error}"
    );
}

/// The example with this beside its pins.
fn with_outputs(text: &str) -> Result<Config, ConfigError> {
    resolved(&BOARD.replace(
        "[pins.inputs.fire_on]",
        &format!("{text}[pins.inputs.fire_on]"),
    ))
}

#[test]
fn an_unknown_signal_is_refused_with_the_list() {
    let error = with("[pins.inputs.hold_button]", "[pins.inputs.coffee]");
    assert!(error.remedy.contains("hold_button"), "{error}");
}

#[test]
fn a_board_without_the_permits_pin_is_refused() {
    assert!(
        with("permit = 18", "")
            .says
            .contains("pins.permit is missing")
    );
}

#[test]
fn text_that_is_no_toml_is_refused_with_its_line() {
    let error = resolved("name = \"x\"\n[table\n").expect_err("no TOML");
    assert!(error.says.starts_with("line 2: "), "{error}");
}

proptest! {
    #[test]
    fn no_text_makes_the_loader_panic(text in "\\PC*") {
        let _ = resolved(&text);
    }

    #[test]
    fn no_value_in_place_of_another_makes_the_loader_panic(
        line in 0_usize..200,
        value in prop_oneof![
            Just("-1".to_owned()), Just("nan".to_owned()), Just("1e400".to_owned()),
            Just("[]".to_owned()), Just("{}".to_owned()), Just("\"\"".to_owned()),
            Just("18446744073709551616".to_owned()), any::<f64>().prop_map(|v| format!("{v:?}")),
            "\\PC{0,12}",
        ],
    ) {
        let lines: Vec<_> = BOARD.lines().enumerate().map(|(i, l)| match l.split_once(" = ") {
            Some((key, _)) if i == line % BOARD.lines().count() => format!("{key} = {value}"),
            _ => l.to_owned(),
        }).collect();
        if let Ok(config) = resolved(&lines.join("\n")) {
            // Whatever is accepted keeps the promises of the ranges.
            prop_assert!(config.travel.iter().all(|t| *t >= 20.0));
            prop_assert!((100..=400).contains(&config.guard.lease_ms));
            prop_assert!(config.pins.fitted.contains("estop"));
        }
    }

    #[test]
    fn no_cut_off_file_makes_the_loader_panic(at in 0_usize..6000) {
        let at = at.min(BOARD.len());
        if BOARD.is_char_boundary(at) {
            let _ = resolved(&BOARD[..at]);
        }
    }
}

#[test]
fn a_loose_wire_without_a_resistor_is_refused_where_it_must_read_as_open() {
    for name in ["estop", "torch_seated", "air_ok", "arc_ok"] {
        let table = format!("[pins.inputs.{name}]");
        let from = BOARD.find(&table).expect("it is there");
        let (before, after) = BOARD.split_at(from);
        let open = format!(
            "{before}{}",
            after.replacen("pull = \"up\"", "pull = \"none\"", 1)
        );
        let error = resolved(&open).expect_err("no resistor");
        assert!(
            error.says.contains(&format!("pins.inputs.{name}")) && error.says.contains("resistor"),
            "{error}"
        );
        for (pull, good) in [("outside-up", true), ("outside-down", false)] {
            let text = format!(
                "{before}{}",
                after.replacen("pull = \"up\"", &format!("pull = {pull:?}"), 1)
            );
            assert_eq!(resolved(&text).is_ok(), good, "{name} {pull}");
        }
    }
    let gate =
        format!("{BOARD}\n[pins.inputs.gate]\npin = 4\npull = \"up\"\nclosed_is = \"high\"\n");
    let error = resolved(&gate).expect_err("a loose wire would read as a closed gate");
    assert!(error.says.contains("pins.inputs.gate"), "{error}");
}

#[test]
fn a_pin_that_the_board_uses_otherwise_is_refused_by_that_use() {
    let usual = "reserved = { i2c = [2, 3], uart = [14, 15] }";
    let error = with(usual, "reserved = { i2c = [2, 3], spi = [9, 19] }");
    assert!(
        error.says.contains("estop on pin 19") && error.says.contains("pins.reserved.spi"),
        "{error}"
    );
    let error = with(usual, "reserved = { uart = [18] }");
    assert!(error.says.contains("permit on pin 18"), "{error}");
}

#[test]
fn the_backend_is_the_character_device_unless_named_and_its_chip_may_be() {
    let of = |from: &str, to: &str| {
        assert!(BOARD.contains(from));
        resolved(&BOARD.replace(from, to))
    };
    let without = of("backend = \"character-device\"\n", "").expect("a default");
    assert_eq!(without.pins.backend, Backend::CharacterDevice);
    let named = of("chip = \"gpiochip0\"", "chip = \"/dev/gpiochip4\"").expect("a chip");
    assert_eq!(named.pins.chip, "/dev/gpiochip4");
    let registers = BOARD
        .replace("backend = \"character-device\"", "backend = \"rppal\"")
        .replace("chip = \"gpiochip0\"", "");
    let known = resolved(&registers).expect("known");
    assert_eq!(known.pins.backend, Backend::Rppal);
    let error = of("backend = \"character-device\"", "backend = \"board\"");
    let error = error.expect_err("there is none of this name");
    assert!(error.says.contains("character-device"), "{error}");
    let error = of("backend = \"character-device\"", "backend = \"rppal\"");
    assert!(error.expect_err("no chip there").says.contains("pins.chip"));
    // Only registers end at 27.
    of("pin = 5\n", "pin = 400\n").expect("a chip may have many lines");
    let far = registers.replace("pin = 5\n", "pin = 28\n");
    let error = resolved(&far).expect_err("beyond the header");
    assert!(error.says.contains("beyond 27"), "{error}");
}

/// The example with its converter of arc volts switched on, and one piece of text put in place of another.
fn with_volts(from: &str, to: &str) -> Result<Config, ConfigError> {
    let mut text = BOARD.replacen("# [volts]", "[volts]", 1);
    let keys = [
        "converter",
        "device",
        "channel",
        "full_scale_v",
        "offset_v",
        "wire_off_below_v",
    ];
    for key in keys {
        let (key, typed) = (format!("{key} = "), format!("# {key} = "));
        assert_eq!(text.matches(&typed).count(), 1, "{key}");
        text = text.replacen(&typed, &key, 1);
    }
    assert!(text.contains(from), "the example has no {from:?}");
    resolved(&text.replacen(from, to, 1))
}

#[test]
fn the_examples_converter_of_arc_volts_is_taken_and_fits_the_rest() {
    let config = with_volts("", "").expect("the example is right");
    assert!(config.pins.fitted.contains("volts"));
    let scale = config.volts.expect("there").scale(config.power.divider);
    assert_eq!(scale.volts_per_count, 5.5 / 4096.0);
    assert_eq!(scale.divider, 50.0);
    assert!(resolved(BOARD).expect("right").volts.is_none());
    let i2c = with_volts(
        "converter = \"spi-12-bit\"",
        "address = 0x4A\nconverter = \"i2c-16-bit\"",
    );
    assert!(i2c.expect_err("its range").says.contains("no range"));
}

#[test]
fn a_converter_that_cannot_be_or_cannot_read_what_it_must_is_refused_by_its_key() {
    let wrong = [
        ("channel = 0", "channel = 8", "volts.channel is 8"),
        (
            "device = \"/dev/spidev0.0\"",
            "device = \"\"",
            "volts.device is empty",
        ),
        (
            "full_scale_v = 5.5",
            "full_scale_v = 12",
            "volts.full_scale_v is 12 V",
        ),
        (
            "full_scale_v = 5.5",
            "full_scale_v = 5.0",
            "lets no more than 225 arc volts",
        ),
        (
            "divider = 50",
            "divider = 20",
            "lets no more than 100 arc volts",
        ),
        (
            "offset_v = 0.5",
            "offset_v = -0.1",
            "volts.offset_v is -0.1 V",
        ),
        (
            "offset_v = 0.5",
            "offset_v = nan",
            "volts.offset_v is NaN V",
        ),
        (
            "wire_off_below_v = 0.25",
            "wire_off_below_v = 0.45",
            "volts.wire_off_below_v is 0.45 V",
        ),
        (
            "wire_off_below_v = 0.25",
            "wire_off_below_v = 0",
            "volts.wire_off_below_v is 0 V",
        ),
        (
            "converter = \"spi-12-bit\"",
            "converter = \"spi\"",
            "spi-12-bit",
        ),
        ("channel = 0", "chanel = 0", "chanel"),
    ];
    for (from, to, says) in wrong {
        let error = with_volts(from, to).expect_err(to);
        assert!(error.to_string().contains(says), "{to}: {error}");
        assert!(error.says.contains("line "), "{to}: {error}");
    }
}
