//! What is wrong in a plan or kit file: a list in the order of the file, each with place, what was found, what would be right.

use miette::{Diagnostic, GraphicalReportHandler, GraphicalTheme, LabeledSpan, NamedSource, SourceCode};
use serde::{Serialize, Serializer};
use std::fmt;

macro_rules! kinds {
    ($($(#[$doc:meta])* $variant:ident = $word:literal),+ $(,)?) => {
        /// What sort of mistake it is; the words are stable.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Kind { $($(#[$doc])* $variant),+ }
        impl Kind {
            /// All kinds.
            pub const ALL: &'static [Kind] = &[$(Kind::$variant),+];
            /// The stable word.
            pub const fn word(self) -> &'static str { match self { $(Kind::$variant => $word),+ } }
        }
    };
}

kinds! {
    /// Not TOML.
    Syntax = "syntax",
    /// A quantity without quotes.
    Unquoted = "unquoted",
    /// A key given twice.
    DuplicateKey = "duplicate-key",
    /// A key that nobody reads.
    UnknownKey = "unknown-key",
    /// A key of the whole file that stands inside a table.
    MisplacedKey = "misplaced-key",
    /// A needed key is not there.
    MissingKey = "missing-key",
    /// A value of another type.
    WrongType = "wrong-type",
    /// An empty text or list.
    Empty = "empty",
    /// No number.
    NoNumber = "no-number",
    /// A comma in a number.
    Comma = "comma",
    /// A number without a unit.
    NoUnit = "no-unit",
    /// A unit that is not known.
    UnknownUnit = "unknown-unit",
    /// A unit that may mean several.
    AmbiguousUnit = "ambiguous-unit",
    /// Parts of a quantity that do not add.
    NotAdding = "not-adding",
    /// Not a finite number.
    NotFinite = "not-finite",
    /// More than any lift has.
    TooLarge = "too-large",
    /// A unit of another measure.
    WrongDimension = "wrong-dimension",
    /// Zero or below where more is needed, or outside of stated bounds.
    OutOfBounds = "out-of-bounds",
    /// A word outside a closed set.
    UnknownWord = "unknown-word",
    /// A text that cannot be an id, a site or an address.
    BadName = "bad-name",
    /// An id that the topics need for themselves.
    ReservedName = "reserved-name",
    /// An id or name given twice.
    DuplicateId = "duplicate-id",
    /// A piece without length.
    NoLength = "no-length",
    /// A piece that touches no other.
    PieceApart = "piece-apart",
    /// Fewer than two towers.
    TooFewTowers = "too-few-towers",
    /// Two towers at one place.
    TowersTogether = "towers-together",
    /// All towers on one side of what they carry... a plan with nothing on it.
    NothingHangs = "nothing-hangs",
    /// No piece named where there are several.
    PieceNotNamed = "piece-not-named",
    /// A piece that the plan does not have.
    UnknownPiece = "unknown-piece",
    /// A place off its piece.
    OffPiece = "off-piece",
    /// No place given.
    NoPlace = "no-place",
    /// Two ways of giving a place or a weight that exclude each other.
    Contradiction = "contradiction",
    /// Values that must rise and do not.
    NotRising = "not-rising",
    /// A rating table that ends below the trim height.
    RatingEnds = "rating-ends",
    /// Heights that do not fit each other.
    HeightsDisagree = "heights-disagree",
    /// A least load that is not below the rating.
    LeastOverRated = "least-over-rated",
    /// A warn limit at or above its stop limit.
    WarnOverStop = "warn-over-stop",
    /// Warn and stop in different measures.
    MixedLimits = "mixed-limits",
    /// A limit past what is never exceeded.
    PastNeverExceed = "past-never-exceed",
    /// A limit's name that does not exist.
    UnknownLimit = "unknown-limit",
    /// A tower that the plan does not have.
    UnknownTower = "unknown-tower",
    /// No register where one is needed.
    Register = "register",
    /// Two nodes that cannot share what they share.
    Clash = "clash",
}

impl Kind {
    /// Whether it tells of something absent: not to be believed in a file that could not be read whole.
    pub(super) fn is_absence(self) -> bool {
        matches!(
            self,
            Kind::MissingKey
                | Kind::NoPlace
                | Kind::NothingHangs
                | Kind::TooFewTowers
                | Kind::PieceNotNamed
                | Kind::UnknownPiece
                | Kind::PieceApart
        )
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

impl Serialize for Kind {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(self.word())
    }
}

/// One mistake.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Mistake {
    /// Its kind.
    pub kind: Kind,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// First byte.
    pub offset: usize,
    /// Bytes.
    pub length: usize,
    /// Which thing and key: `tower B, rated`.
    pub place: String,
    /// What was found.
    pub found: String,
    /// What would be right.
    pub expected: String,
}

impl fmt::Display for Mistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: found {}; expected {}", self.place, self.found, self.expected)
    }
}

impl std::error::Error for Mistake {}

impl Diagnostic for Mistake {
    fn code<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        Some(Box::new(self.kind))
    }
    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        Some(Box::new(std::iter::once(LabeledSpan::new(Some("here".into()), self.offset, self.length))))
    }
}

/// All mistakes of one file, in its order; never empty.
#[derive(Clone, Debug)]
pub struct Mistakes {
    /// The file's name.
    pub file: String,
    /// The mistakes.
    pub list: Vec<Mistake>,
    source: NamedSource<String>,
}

impl Mistakes {
    /// All mistakes found in `text`, sorted by place.
    pub(super) fn new(file: &str, text: &str, mut list: Vec<Mistake>) -> Self {
        list.sort_by(|a, b| (a.offset, a.kind, &a.place).cmp(&(b.offset, b.kind, &b.place)));
        list.dedup();
        Mistakes { file: file.to_owned(), list, source: NamedSource::new(file, text.to_owned()) }
    }

    /// One line each: `plan.toml:12:9: tower B, rated: found …; expected …`.
    pub fn plain(&self) -> String {
        self.list.iter().map(|m| format!("{}:{}:{}: {m}\n", self.file, m.line, m.column)).collect()
    }

    /// With the lines of the file and colours, for a terminal; without colours as [`Mistakes::plain`].
    pub fn render(&self, colours: bool) -> String {
        let mut out = String::new();
        let handler = GraphicalReportHandler::new_themed(GraphicalTheme::unicode()).with_links(false);
        if colours && handler.render_report(&mut out, self).is_ok() { out } else { self.plain() }
    }
}

impl fmt::Display for Mistakes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.list.len() {
            1 => write!(f, "{}: 1 mistake", self.file),
            n => write!(f, "{}: {n} mistakes", self.file),
        }
    }
}

impl std::error::Error for Mistakes {}

impl Diagnostic for Mistakes {
    fn source_code(&self) -> Option<&dyn SourceCode> {
        Some(&self.source)
    }
    fn related<'a>(&'a self) -> Option<Box<dyn Iterator<Item = &'a dyn Diagnostic> + 'a>> {
        Some(Box::new(self.list.iter().map(|m| m as &dyn Diagnostic)))
    }
}
