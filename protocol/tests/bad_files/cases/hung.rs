//! Changes of what hangs, of the tolerance, and of the whole file.

/// What is replaced, by what, what is told.
#[rustfmt::skip]
pub const HUNG: &[(&str, &str, &str)] = &[
    (r#"[[load]]
name = "wash"
weight = "10.4 kg"
at = ["0.4 m", "7.6 m"]

[[cable]]
name = "multicore"
weight = "7.7 kg"
from = "0 m"
to = "8 m"
"#,
     "",
     "1:1 nothing-hangs the file: found no [[load]] and no [[cable]]; expected at least one of what hangs on the truss\n"),
    (r#"name = "wash"
"#,
     "",
     r#"27:1 missing-key load 1, name: found nothing; expected a text, as "wash"
"#),
    (r#"at = ["0.4 m", "7.6 m"]"#,
     r#"at = ["0.4 m", "8.6 m"]"#,
     "30:6 off-piece load wash, at: found 8.6 m, off the piece; expected a place from 0 m to 8 m on `front`\n"),
    (r#"at = ["0.4 m", "7.6 m"]"#,
     "at = []",
     r#"30:6 empty load wash, at: found an empty list; expected a list of quantities, as ["1.2 m"]
"#),
    (r#"at = ["0.4 m", "7.6 m"]
"#,
     "",
     "27:1 no-place load wash, at: found no place; expected `at`, or `from` and `to`\n"),
    (r#"at = ["0.4 m", "7.6 m"]"#,
     r#"at = ["0.4 m", 7.6]"#,
     r#"30:16 no-unit load wash, at: found the number 7.6 without a unit; expected a length, as "1.2 m", in quotes
"#),
    (r#"at = ["0.4 m", "7.6 m"]"#,
     r#"at = "0.4 m"
from = "1 m""#,
     "30:6 contradiction load wash, at: found `at` beside `from`, `to`, `count` or `spacing`; expected places by `at`, or a stretch\n"),
    (r#"at = ["0.4 m", "7.6 m"]"#,
     r#"from = "1 m"
to = "7 m""#,
     r#"27:1 missing-key load wash, count: found a whole weight from `from` to `to` without `count`; expected `count` for so many items of that weight, or a weight per length, as "2 kg/m"
"#),
    (r#"at = ["0.4 m", "7.6 m"]"#,
     r#"from = "1 m"
to = "7 m"
count = 1"#,
     "32:9 out-of-bounds load wash, count: found 1; expected a whole number from 2 to 1000, without quotes\n"),
    (r#"at = ["0.4 m", "7.6 m"]"#,
     r#"from = "7 m"
to = "1 m"
count = 4"#,
     "31:6 not-rising load wash, to: found 1 m, not beyond `from` at 7 m; expected a place beyond `from`\n"),
    (r#"at = ["0.4 m", "7.6 m"]"#,
     r#"from = "1 m"
count = 6
spacing = "2 m""#,
     "32:11 off-piece load wash, spacing: found 11 m, off the piece; expected a place from 0 m to 8 m on `front`\n"),
    (r#"at = ["0.4 m", "7.6 m"]"#,
     r#"from = "1 m"
to = "7 m"
count = 6
spacing = "1 m""#,
     "33:11 contradiction load wash, spacing: found `spacing` beside `to`; expected `from`, `count` and `spacing`, or `from`, `to` and `count`\n"),
    (r#"weight = "10.4 kg""#,
     r#"weight = "10.4 kg/m""#,
     r#"29:10 wrong-dimension load wash, weight: found a weight per length at one place; expected a weight, as "10.4 kg", or `from` and `to` for a weight per length
"#),
    (r#"weight = "10.4 kg"
at = ["0.4 m", "7.6 m"]"#,
     r#"weight = "10.4 kg/m"
from = "1 m"
to = "7 m"
count = 6"#,
     r#"32:9 contradiction load wash, count: found `count` beside a weight per length; expected the weight of one item, as "10.4 kg"
"#),
    (r#"weight = "10.4 kg"
at = ["0.4 m", "7.6 m"]"#,
     r#"weight = ["2 kg/m", "3 kg/m", "4 kg/m"]
from = "1 m"
to = "7 m""#,
     "29:10 wrong-type load wash, weight: found a list of 3; expected two weights per length: at `from` and at `to`\n"),
    (r#"weight = "10.4 kg"
at = ["0.4 m", "7.6 m"]"#,
     r#"weight = ["0 kg/m", "0 kg/m"]
from = "1 m"
to = "7 m""#,
     "29:10 out-of-bounds load wash, weight: found a list with no weight in it; expected two weights per length, not below zero, one above\n"),
    (r#"weight = "10.4 kg""#,
     r#"weight = "-10.4 kg""#,
     "29:10 out-of-bounds load wash, weight: found the text `-10.4 kg`; expected a weight above zero\n"),
    (r#"weight = "10.4 kg""#,
     r#"weight = "10.4 m""#,
     r#"29:10 wrong-dimension load wash, weight: found `10.4 m`, a length; expected a weight, as "10.4 kg", or a weight per length, as "8.5 kg/m"
"#),
    (r#"weight = "10.4 kg""#,
     r#"weight = "10.4 kgs""#,
     r#"29:10 unknown-unit load wash, weight: found unit `kgs`, which is not known; expected perhaps `kg`: a weight or force, as "500 lb"
"#),
    (r#"name = "wash""#,
     r#"name = "wash"
hang = "450""#,
     r#"29:8 no-unit load wash, hang: found `450` without a unit; expected a number and its unit: a length, as "1.2 m"
"#),
    (r#"from = "0 m"
to = "8 m"
"#,
     "",
     "32:1 no-place cable multicore, from: found no place; expected `from` and `to` along the truss, or `tail-at` where it hangs to the floor\n"),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"tail-at = "7 m"
"#,
     r#"34:10 wrong-dimension cable multicore, weight: found a whole weight for a tail; expected a weight per length, as "2.34 kg/m": a tail grows with height
"#),
    (r#"name = "multicore""#,
     r#"name = "multicore"
runs = 2"#,
     r#"34:8 contradiction cable multicore, runs: found `runs` beside a whole weight; expected a weight per length of one run, as "0.25 kg/m"
"#),
    (r#"name = "multicore""#,
     r#"name = "multicore"
spare = "5 m""#,
     r#"34:9 contradiction cable multicore, spare: found a length of a cable that has no weight per length; expected the weight of the coil, as "4 kg"
"#),
    (r#"name = "multicore""#,
     r#"name = "multicore"
spare = "5 s""#,
     r#"34:9 wrong-dimension cable multicore, spare: found `5 s`, a time; expected the length or weight of the coil, as "5 m" or "4 kg"
"#),
    (r#"name = "multicore""#,
     r#"name = "multicore"
spare-at = "5 m""#,
     r#"32:1 missing-key cable multicore, spare: found nothing; expected the length or weight of the coil, as "5 m" or "4 kg"
"#),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "9 m"
"#,
     "36:6 off-piece cable multicore, to: found 9 m, off the piece; expected a place from 0 m to 8 m on `front`\n"),
    (r#"[[tower]]
id = "A""#,
     r#"[[piece]]
id = "side"
from = ["8 m", "0 m"]
to = ["8 m", "4 m"]
weight = "8.5 kg/m"

[[tower]]
id = "A""#,
     "19:1 piece-not-named tower A, piece: found nothing; expected one of `front`, `side`: the plan has several pieces\n26:1 piece-not-named tower B, piece: found nothing; expected one of `front`, `side`: the plan has several pieces\n33:1 piece-not-named load wash, piece: found nothing; expected one of `front`, `side`: the plan has several pieces\n38:1 piece-not-named cable multicore, piece: found nothing; expected one of `front`, `side`: the plan has several pieces\n"),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[tolerance]
rake = { warn = "100 mm", stop = "50 mm" }
"#,
     "39:17 warn-over-stop tolerance, rake, warn: found a warn limit not below the stop limit; expected a warn limit below the stop limit\n"),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[tolerance]
rake = { warn = "50 mm", stop = "1 deg" }
"#,
     "39:33 mixed-limits tolerance, rake, stop: found warn and stop in different measures; expected both in the same\n"),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[tolerance]
rake = { warn = "50 mm", stop = "400 mm" }
"#,
     "39:33 past-never-exceed tolerance, rake, stop: found the text `400 mm`, past what is never exceeded; expected at most 2 deg (209 mm between the outer heads)\n"),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[tolerance]
rake = { warn = "0.5 deg", stop = "3 deg" }
"#,
     "39:35 past-never-exceed tolerance, rake, stop: found the text `3 deg`, past what is never exceeded; expected at most 2 deg (209 mm between the outer heads)\n"),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[tolerance]
rake = { stop = "50 mm" }
"#,
     r#"39:8 missing-key tolerance, rake, warn: found nothing; expected a height or a slope, as "50 mm" or "0.5 deg"
"#),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[tolerance]
rake = "50 mm"
"#,
     r#"39:8 unknown-word tolerance, rake: found `50 mm`; expected { warn, stop, clear } with a height or a slope, as "50 mm" or "0.5 deg", or "none"
"#),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[tolerance]
rake = { warn = "50 mm", stop = "100 mm", clear = "100 %" }
"#,
     "39:51 out-of-bounds tolerance, rake, clear: found 100 %; expected a share of each limit from 0 % to below 100 %\n"),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[tolerance]
lean = { warn = "5 mm", stop = "10 mm" }
"#,
     r#"39:17 wrong-dimension tolerance, lean, warn: found `5 mm`, a length; expected an angle, as "0.3 deg"
39:32 wrong-dimension tolerance, lean, stop: found `10 mm`, a length; expected an angle, as "0.3 deg"
"#),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[tolerance]
share = { warn = "5 deg" }
"#,
     r#"39:18 wrong-dimension tolerance, share, warn: found `5 deg`, an angle; expected a weight or a share of the whole, as "10 kg" or "5 %"
"#),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[tolerance]
share = { warn = 5 }
"#,
     r#"39:18 no-unit tolerance, share, warn: found the number 5; expected a weight or a share of the whole, as "10 kg" or "5 %"
"#),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[tolerance]
rack = { warn = "50 mm" }
"#,
     "39:1 unknown-key tolerance: found the key `rack`; expected perhaps `rake`\n"),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[tolerance.rise]
rake = { warn = "50 mm" }
"#,
     "38:12 unknown-key tolerance: found the key `rise`; expected perhaps `raise`\n"),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[[override]]
limit = "raise.rake.stop"
value = "120 mm"
by = "Mara"
"#,
     r#"38:1 missing-key override raise.rake.stop, reason: found nothing; expected a text, as "long span"
"#),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[[override]]
limit = "raise.rake.stop"
value = "300 mm"
by = "Mara"
reason = "long span"
"#,
     "40:9 past-never-exceed override raise.rake.stop, value: found the text `300 mm`, past what is never exceeded; expected at most 2 deg (209 mm between the outer heads)\n"),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[[override]]
limit = "raise.rack.stop"
value = "120 mm"
by = "Mara"
reason = "long span"
"#,
     "39:9 unknown-limit override raise.rack.stop, limit: found the row `rack`; expected perhaps `rake` (one of `rake`, `line`, `twist`, `lean`, `roll`, `share`, `total`)\n"),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[[override]]
limit = "rake"
value = "120 mm"
by = "Mara"
reason = "long span"
"#,
     r#"39:9 unknown-limit override rake, limit: found `rake`; expected step, row and `warn` or `stop`, as "raise.rake.stop"
"#),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[[override]]
limit = "rising.rake.stop"
value = "120 mm"
by = "Mara"
reason = "long span"
"#,
     "39:9 unknown-limit override rising.rake.stop, limit: found the step `rising`; expected one of `rig`, `test-lift`, `raise`, `section`, `land`, `stand`, `change`, `lower`, `strike`\n"),
    (r#"from = "0 m"
to = "8 m"
"#,
     r#"from = "0 m"
to = "8 m"

[[override]]
limit = "raise.rake.max"
value = "120 mm"
by = "Mara"
reason = "long span"
"#,
     "39:9 unknown-limit override raise.rake.max, limit: found the level `max`; expected `warn`, `stop`\n"),
    (r#"site = "demo""#,
     "site demo",
     "2:6 syntax line 2: found `site demo`, which is not TOML: key with no value, expected `=`; expected `key = value`, `[table]` or `[[list]]`\n"),
    ("[[load]]",
     "load = [1]\n[[lod]]",
     "27:1 unknown-key tower B: found the key `load`; expected one of `adapter`, `at`, `collapsed`, `cradle`, `footprint`, `full`, `id`, `least`, `name`, `per-turn`, `piece`, `pin-stiffness`, `pins`, `rated`, `rope-stiffness`, `weight`\n28:3 unknown-key the file: found the key `lod`; expected perhaps `load`\n"),
];
