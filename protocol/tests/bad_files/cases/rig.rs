//! Changes of what a plan says of the lift, its pieces and its towers.

/// What is replaced, by what, what is told.
#[rustfmt::skip]
pub const RIG: &[(&str, &str, &str)] = &[
    (r#"title = "Demo"
"#,
     "",
     r#"1:1 missing-key title: found nothing; expected a text, as "Harbour Lane AGM"
"#),
    (r#"title = "Demo""#,
     "title = 7",
     "1:9 wrong-type title: found the number 7; expected a text in quotes\n"),
    (r#"title = "Demo""#,
     r#"title = " ""#,
     "1:9 empty title: found an empty text; expected a text\n"),
    (r#"site = "demo""#,
     r#"site = "my hall/2""#,
     "2:8 bad-name site: found `my hall/2`; expected at most 64 letters, digits, `-`, `_` and `.`, no blanks\n"),
    (r#"site = "demo""#,
     r#"site = "demo"
site = "again""#,
     "3:1 duplicate-key line 3: found `site` a second time; expected each key once\n"),
    (r#"site = "demo""#,
     r#"sight = "demo""#,
     r#"1:1 missing-key site: found nothing; expected a text, as "harbour-lane"
2:1 unknown-key the file: found the key `sight`; expected one of `allowance`, `cable`, `load`, `override`, `pace`, `pace-down`, `people-under-at-rest`, `phrases`, `piece`, `planner`, `reaction`, `revision`, `site`, `title`, `tolerance`, `tower`, `trim-height`, `units`, `upstage`, `working-height`
"#),
    (r#"site = "demo""#,
     r#"site = "demo"
revision = 0"#,
     "3:12 out-of-bounds revision: found 0; expected a whole number from 1 to 1000000, without quotes\n"),
    (r#"site = "demo""#,
     r#"site = "demo"
revision = 1.5"#,
     "3:12 wrong-type revision: found the number 1.5; expected a whole number from 1 to 1000000, without quotes\n"),
    (r#"site = "demo""#,
     r#"site = "demo"
units = ["kg", "lb"]"#,
     r#"3:9 contradiction units: found two units of one measure; expected a list of one weight and one length unit, as ["kg", "m"] or ["lb", "ft"]
"#),
    (r#"site = "demo""#,
     r#"site = "demo"
units = ["stone"]"#,
     "3:10 unknown-word units: found `stone`; expected one of `kg`, `lb`, `m`, `ft`\n"),
    (r#"site = "demo""#,
     r#"site = "demo"
units = "kg""#,
     r#"3:9 wrong-type units: found the text `kg`; expected a list of one weight and one length unit, as ["kg", "m"] or ["lb", "ft"]
"#),
    (r#"site = "demo""#,
     r#"site = "demo"
allowance = 0.9"#,
     "3:13 out-of-bounds allowance: found 0.9; expected a plain number from 1 to 2, without quotes\n"),
    (r#"site = "demo""#,
     r#"site = "demo"
allowance = "10 %""#,
     "3:13 wrong-type allowance: found the text `10 %`; expected a plain number from 1 to 2, without quotes\n"),
    (r#"site = "demo""#,
     r#"site = "demo"
upstage = "x""#,
     "3:11 unknown-word upstage: found `x`; expected one of `y`, `-y`\n"),
    (r#"site = "demo""#,
     r#"site = "demo"
people-under-at-rest = "no""#,
     "3:24 wrong-type people-under-at-rest: found the text `no`; expected true or false, without quotes\n"),
    (r#"site = "demo""#,
     r#"site = "demo"
reaction = "-1 s""#,
     "3:12 out-of-bounds reaction: found the text `-1 s`; expected a time, not below zero\n"),
    (r#"site = "demo""#,
     r#"site = "demo"
tolerance = "from-static""#,
     r#"3:13 unknown-word tolerance: found `from-static`; expected "from-statics" or a table [tolerance]
"#),
    (r#"site = "demo""#,
     r#"site = "demo"
tolerance = 3"#,
     r#"3:13 wrong-type tolerance: found the number 3; expected "from-statics" or a table [tolerance]
"#),
    (r#"working-height = "1.2 m""#,
     "working-height = 1.2",
     r#"3:18 no-unit working-height: found the number 1.2 without a unit; expected a length, as "1.2 m", in quotes
"#),
    (r#"working-height = "1.2 m""#,
     "working-height = 1.2 m",
     r#"3:18 unquoted line 3: found `1.2 m` without quotes; expected `working-height = "1.2 m"`
"#),
    (r#"working-height = "1.2 m""#,
     r#"working-height = "1.2""#,
     r#"3:18 no-unit working-height: found `1.2` without a unit; expected a number and its unit: a length, as "1.2 m"
"#),
    (r#"working-height = "1.2 m""#,
     r#"working-height = "1,2 m""#,
     r#"3:18 comma working-height: found `1,2 m` with a comma; expected a point for decimals, nothing between thousands: a length, as "1.2 m"
"#),
    (r#"working-height = "1.2 m""#,
     r#"working-height = "about a metre""#,
     r#"3:18 no-number working-height: found `about a metre`, which is no number with a unit; expected a number and its unit: a length, as "1.2 m"
"#),
    (r#"working-height = "1.2 m""#,
     r#"working-height = "1.2 mtr""#,
     r#"3:18 unknown-unit working-height: found unit `mtr`, which is not known; expected a length, as "1.2 m"
"#),
    (r#"working-height = "1.2 m""#,
     r#"working-height = "1.2 M""#,
     r#"3:18 ambiguous-unit working-height: found `M`, which may mean several units; expected `m` for metres, `MN` for meganewtons: a length, as "1.2 m"
"#),
    (r#"working-height = "1.2 m""#,
     r#"working-height = "1.2 kg""#,
     r#"3:18 wrong-dimension working-height: found `1.2 kg`, a mass; expected a length, as "1.2 m"
"#),
    (r#"working-height = "1.2 m""#,
     r#"working-height = """#,
     r#"3:18 empty working-height: found an empty text; expected a length, as "1.2 m"
"#),
    (r#"working-height = "1.2 m""#,
     r#"working-height = "0 m""#,
     "3:18 out-of-bounds working-height: found the text `0 m`; expected a length, above zero\n"),
    (r#"working-height = "1.2 m""#,
     r#"working-height = "6 in 4 ft""#,
     r#"3:18 not-adding working-height: found `6 in 4 ft`, whose parts do not add up; expected the larger unit first, then the smaller of the same measure: a length, as "1.2 m"
"#),
    (r#"working-height = "1.2 m""#,
     r#"working-height = "1e999 m""#,
     r#"3:18 not-finite working-height: found `1e999 m`, which is no finite number; expected a number and its unit: a length, as "1.2 m"
"#),
    (r#"working-height = "1.2 m""#,
     r#"working-height = "12000 m""#,
     r#"3:18 too-large working-height: found `12000 m`, more than any lift has; expected a length, as "1.2 m"
"#),
    (r#"working-height = "1.2 m""#,
     r#"working-height = "6 m""#,
     "4:15 heights-disagree trim-height: found 5 m; expected at least the working height, 6 m\n"),
    (r#"pace = "25 mm/s"
"#,
     "",
     r#"1:1 missing-key pace: found nothing; expected a speed, as "25 mm/s"
"#),
    (r#"pace = "25 mm/s""#,
     r#"pace = "25 mm""#,
     r#"5:8 wrong-dimension pace: found `25 mm`, a length; expected a speed, as "25 mm/s"
"#),
    (r#"pace = "25 mm/s""#,
     r#"pace = "25 mm/""#,
     r#"5:8 unknown-unit pace: found `/` in unit `mm/`, which is not known; expected a speed, as "25 mm/s"
"#),
    (r#"[[piece]]
id = "front"
from = ["0 m", "0 m"]
to = ["8 m", "0 m"]
weight = "8.5 kg/m"
"#,
     "",
     "1:1 missing-key piece: found nothing; expected at least one [[piece]] of truss\n"),
    ("[[piece]]",
     "[piece]",
     "7:1 wrong-type piece: found a table; expected a list of tables, each opened by [[piece]]\n"),
    ("[[piece]]",
     "[[piece]",
     "7:9 syntax line 7: found `[[piece]`, which is not TOML: unclosed array table, expected `]`; expected `key = value`, `[table]` or `[[list]]`\n"),
    (r#"to = ["8 m", "0 m"]"#,
     r#"to = ["8 m"]"#,
     r#"10:6 wrong-type piece front, to: found a list of 1; expected plan coordinates, as ["0 m", "0 m"]
"#),
    (r#"to = ["8 m", "0 m"]"#,
     r#"to = "8 m""#,
     r#"10:6 wrong-type piece front, to: found the text `8 m`; expected a list of quantities, as ["1.2 m"]
"#),
    (r#"to = ["8 m", "0 m"]"#,
     r#"to = ["0 m", "0 m"]"#,
     "10:6 no-length piece front, to: found a piece shorter than 50 mm; expected a `to` end away from the `from` end\n20:1 towers-together tower B: found the place of tower A; expected towers at least 50 mm apart\n"),
    (r#"to = ["8 m", "0 m"]
"#,
     "",
     r#"7:1 missing-key piece front, to: found nothing; expected plan coordinates, as ["0 m", "0 m"]
"#),
    (r#"weight = "8.5 kg/m""#,
     r#"weight = "68 kg""#,
     r#"11:10 wrong-dimension piece front, weight: found `68 kg`, a mass; expected a weight per length, as "8.5 kg/m"
"#),
    (r#"weight = "8.5 kg/m""#,
     r#"weight = "0 kg/m""#,
     "11:10 out-of-bounds piece front, weight: found the text `0 kg/m`; expected a weight per length, above zero\n"),
    (r#"weight = "8.5 kg/m"
"#,
     "",
     r#"7:1 missing-key piece front, weight: found nothing; expected a weight per length, as "8.5 kg/m"
"#),
    (r#"weight = "8.5 kg/m""#,
     r#"weight = "8.5 kg/m"
source = "brochure""#,
     "12:10 unknown-word piece front, source: found `brochure`; expected one of `weighed`, `label`, `maker`, `guess`\n"),
    (r#"weight = "8.5 kg/m""#,
     r#"weight = "8.5 kg/m"
source = "maker"
band = "3 %""#,
     "13:8 contradiction piece front, band: found `source` and `band`; expected one of the two\n"),
    (r#"weight = "8.5 kg/m""#,
     r#"weight = "8.5 kg/m"
bending = "1.7 MN m""#,
     r#"12:11 wrong-dimension piece front, bending: found `1.7 MN m`, a moment; expected a bending or torsional stiffness, as "1.7 MN m2"
"#),
    (r#"weight = "8.5 kg/m""#,
     r#"weight = "8.5 kg/m"
hinged = ["end"]"#,
     "12:11 unknown-word piece front, hinged: found `end`; expected one of `from`, `to`\n"),
    (r#"weight = "8.5 kg/m""#,
     r#"weight = "8.5 kg/m"
table = [{ span = "6 m" }]"#,
     "12:10 missing-key piece front, table 6 m, spread: found nothing; expected `spread`, `centre` or both\n"),
    (r#"weight = "8.5 kg/m""#,
     r#"weight = "8.5 kg/m"
table = [{ span = "6 m", spread = "118 kg/m" }, { span = "5 m", spread = "150 kg/m" }]"#,
     "12:58 not-rising piece front, table 5 m, span: found 5 m; expected a span longer than the row before\n"),
    (r#"weight = "8.5 kg/m""#,
     r#"weight = "8.5 kg/m"
tolerance = "from-statics""#,
     "12:1 misplaced-key piece front: found the key `tolerance`; expected `tolerance` above the first [[ ]] or [ ] of the file: below one it belongs to that table\n"),
    (r#"weight = "8.5 kg/m""#,
     r#"weight = "8.5 kg/m"
widht = "290 mm""#,
     "12:1 unknown-key piece front: found the key `widht`; expected perhaps `width`\n"),
    (r#"[[tower]]
id = "A""#,
     r#"[[piece]]
id = "side"
from = ["9 m", "0 m"]
to = ["9 m", "4 m"]
weight = "8.5 kg/m"

[[tower]]
id = "A"
piece = "front""#,
     "13:1 piece-apart piece side: found ends that meet no end of the other pieces; expected an end within 10 mm of another piece's end\n27:1 piece-not-named tower B, piece: found nothing; expected one of `front`, `side`: the plan has several pieces\n34:1 piece-not-named load wash, piece: found nothing; expected one of `front`, `side`: the plan has several pieces\n39:1 piece-not-named cable multicore, piece: found nothing; expected one of `front`, `side`: the plan has several pieces\n"),
    (r#"[[tower]]
id = "A""#,
     r#"[[piece]]
id = "front"
from = ["8 m", "0 m"]
to = ["8 m", "4 m"]
weight = "8.5 kg/m"

[[tower]]
id = "A"
piece = "front""#,
     "14:6 duplicate-id piece front, id: found `front` a second time; expected an id of its own for every piece\n27:1 piece-not-named tower B, piece: found nothing; expected one of `front`: the plan has several pieces\n34:1 piece-not-named load wash, piece: found nothing; expected one of `front`: the plan has several pieces\n39:1 piece-not-named cable multicore, piece: found nothing; expected one of `front`: the plan has several pieces\n"),
    (r#"id = "B""#,
     r#"id = "A""#,
     "21:6 duplicate-id tower A, id: found `A` a second time; expected an id of its own for every tower\n"),
    (r#"id = "B""#,
     r#"id = "spotter""#,
     "21:6 reserved-name tower spotter, id: found `spotter`, which the topics and findings need; expected another id\n"),
    (r#"id = "B""#,
     r#"id = "B 2""#,
     "21:6 bad-name tower B 2, id: found `B 2`; expected at most 64 letters, digits, `-`, `_` and `.`, no blanks\n"),
    (r#"id = "B"
"#,
     "",
     r#"20:1 missing-key tower 2, id: found nothing; expected a text, as "A"
"#),
    (r#"id = "B""#,
     r#"id = "B"
name = "A""#,
     "22:8 duplicate-id tower B, name: found `A`, which another tower is called; expected a spoken name of its own for every tower\n"),
    (r#"[[tower]]
id = "B"
at = "7 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"

"#,
     "",
     "1:1 too-few-towers the file: found one [[tower]]; expected at least two towers\n"),
    (r#"at = "7 m""#,
     r#"at = "9 m""#,
     "22:6 off-piece tower B, at: found 9 m, off the piece; expected a place from 0 m to 8 m on `front`\n"),
    (r#"at = "7 m"
"#,
     "",
     r#"20:1 missing-key tower B, at: found nothing; expected a length, as "1 m"
"#),
    (r#"at = "7 m""#,
     r#"at = "1 m""#,
     "20:1 towers-together tower B: found the place of tower A; expected towers at least 50 mm apart\n"),
    (r#"at = "7 m"
rated = "500 lb"
"#,
     r#"at = "7 m"
"#,
     r#"20:1 missing-key tower B, rated: found nothing; expected the rated load, as "500 lb", or by height, as [{ to = "3 m", load = "500 lb" }]
"#),
    (r#"at = "7 m"
rated = "500 lb""#,
     r#"at = "7 m"
rated = "500""#,
     r#"23:9 no-unit tower B, rated: found `500` without a unit; expected a number and its unit: a weight or force, as "500 lb"
"#),
    (r#"at = "7 m"
rated = "500 lb""#,
     r#"at = "7 m"
rated = "0 lb""#,
     "23:9 out-of-bounds tower B, rated: found the text `0 lb`; expected a weight or force, above zero\n"),
    (r#"at = "7 m"
rated = "500 lb""#,
     r#"at = "7 m"
rated = []"#,
     r#"23:9 empty tower B, rated: found an empty list; expected the rated load, as "500 lb", or by height, as [{ to = "3 m", load = "500 lb" }]
"#),
    (r#"at = "7 m"
rated = "500 lb""#,
     r#"at = "7 m"
rated = [{ to = "3 m", load = "500 lb" }, { to = "2 m", load = "400 lb" }]"#,
     "23:9 rating-ends tower B, rated: found a rating that ends at 2 m; expected a row that reaches the trim height, 5 m\n23:50 not-rising tower B, rated 2 m, to: found 2 m; expected a height above the row before\n"),
    (r#"at = "7 m"
rated = "500 lb""#,
     r#"at = "7 m"
rated = [{ to = "3 m", load = "500 lb" }]"#,
     "23:9 rating-ends tower B, rated: found a rating that ends at 3 m; expected a row that reaches the trim height, 5 m\n"),
    (r#"at = "7 m"
rated = "500 lb"
least = "15 lb"
"#,
     r#"at = "7 m"
rated = "500 lb"
"#,
     r#"20:1 missing-key tower B, least: found nothing; expected a weight or force, as "15 lb"
"#),
    (r#"at = "7 m"
rated = "500 lb"
least = "15 lb""#,
     r#"at = "7 m"
rated = "500 lb"
least = "600 lb""#,
     r#"24:9 least-over-rated tower B, least: found 272.2 kg, not below the rating; expected the least load at which the tower comes down by itself, as "15 lb"
"#),
    (r#"at = "7 m"
rated = "500 lb"
least = "15 lb""#,
     r#"at = "7 m"
rated = "500 lb"
least = "-15 lb""#,
     "24:9 out-of-bounds tower B, least: found the text `-15 lb`; expected a weight or force, not below zero\n"),
    (r#"id = "B""#,
     r#"id = "B"
piece = "frnt""#,
     "22:9 unknown-piece tower B, piece: found `frnt`, which is no piece; expected perhaps `front` (one of `front`)\n"),
    (r#"id = "B""#,
     r#"id = "B"
collapsed = "1.5 m""#,
     "22:13 heights-disagree tower B, collapsed: found 1.5 m; expected at most the working height, 1.2 m\n"),
    (r#"id = "B""#,
     r#"id = "B"
full = "4.5 m""#,
     "22:8 heights-disagree tower B, full: found 4.5 m; expected at least the trim height, 5 m\n"),
    (r#"id = "B""#,
     r#"id = "B"
pins = ["2.6 m", "2.4 m"]"#,
     "22:8 not-rising tower B, pins: found 2.4 m after 2.6 m; expected heights of the head that rise\n"),
    (r#"id = "B""#,
     r#"id = "B"
pins = ["2.6 m", "8 m"]"#,
     "22:8 heights-disagree tower B, pins: found 8 m; expected a height from 1.2 m (collapsed) to 5 m (full)\n"),
    (r#"id = "B""#,
     r#"id = "B"
per_turn = "25 mm""#,
     "22:1 unknown-key tower B: found the key `per_turn`; expected perhaps `per-turn`\n"),
    (r#"id = "B""#,
     r#"id = "B"
rope-stiffness = "100 N""#,
     r#"22:18 wrong-dimension tower B, rope-stiffness: found `100 N`, a force; expected a stiffness, as "100 N/mm"
"#),
    (r#"id = "B""#,
     r#"id = "B"
weight = "65 ton""#,
     r#"22:10 ambiguous-unit tower B, weight: found `ton`, which may mean several units; expected `tonne` (1000 kg), `short ton` (2000 lb) or `long ton` (2240 lb): a weight or force, as "500 lb"
"#),
    (r#"per-turn = "25 mm"

[[load]]"#,
     r#"per-turn = "25 m"

[[load]]"#,
     r#"25:12 out-of-bounds tower B, per-turn: found 25 m; expected the rise of the head for one turn, at most 0.5 m, as "25 mm"
"#),
];
