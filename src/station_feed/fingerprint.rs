//! What a station's feed is known by: where its file is and how its bytes become values.
//!
//! The text is written out line by line and never made of a struct's `Debug` form: it is kept in
//! databases, and neither a rename in the source nor a further field of a dialect may change it. A
//! field that comes later writes its line only where a dialect sets it.

use super::StationFeed;
use super::dialect::{
    Binding, Column, Columns, Dialect, Encoding, FlagRule, Header, Layout, Otherwise,
};
use super::origin::Origin;
use crate::domain::name_of;
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::wind::WindUnit;

/// What fingerprints of this form begin with. Those of the first form, eight hexadecimal digits
/// alone, were check sums of everything about a dialect, its title included.
const FORM: &str = "2:";

impl StationFeed {
    /// A text that changes when the file is another one or is read differently: with the address,
    /// the unit, the code and the dialect's layout. Titles, names, notes and places are not in it,
    /// so that editing them disarms no guard.
    pub fn fingerprint(&self) -> String {
        // Only a check sum of it all: addresses may hold what is nobody's business.
        let mut sum = flate2::Crc::new();
        sum.update(way_of_reading(&self.origin, &self.binding).as_bytes());
        format!("{FORM}{:08x}", sum.sum())
    }

    /// The unit it was last read in, if that is all that has changed since: the one whose fingerprint
    /// is the stored one.
    pub fn unit_before(&self, stored: &str) -> Option<Unit> {
        let others = Unit::NAMED.map(|(_, unit)| unit);
        others.into_iter().find(|unit| {
            let mut before = self.clone();
            before.binding.unit = *unit;
            *unit != self.binding.unit && before.fingerprint() == stored
        })
    }
}

/// How the way a feed is read now compares with the one it was last read by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LastRead {
    /// It was never read.
    Never,
    /// The same way.
    SameWay,
    /// By a program that kept another form of fingerprint. A check sum says nothing of what it was
    /// made of, and the feed has most likely not changed with the program: the guards stay armed,
    /// because a file that rightly differs can still be imported with `--replace`, while one that is
    /// wrongly believed spoils what is stored. Only "not modified" is not believed, so that the file
    /// comes once more. The fingerprint is written anew as soon as a file is taken in.
    OtherForm,
    /// From another place, or in another way.
    OtherWay,
}

impl LastRead {
    /// Compares the fingerprint that is stored, empty if there is none, with today's.
    pub fn of(stored: &str, today: &str) -> Self {
        if stored.is_empty() {
            Self::Never
        } else if stored == today {
            Self::SameWay
        } else if stored.starts_with(FORM) {
            Self::OtherWay
        } else {
            Self::OtherForm
        }
    }

    /// Whether the file may be held against what the last good one looked like.
    pub fn is_held_against_last_file(self) -> bool {
        matches!(self, Self::SameWay | Self::OtherForm)
    }

    /// Whether a server that says "not modified" speaks of what is stored.
    pub fn is_known_version(self) -> bool {
        self == Self::SameWay
    }
}

/// Everything that decides which values a station gets, a line each.
fn way_of_reading(origin: &Origin, binding: &Binding) -> String {
    // Which temperatures a latitude can have is no part of how they are read.
    let Binding {
        dialect,
        unit,
        code,
        latitude: _,
    } = binding;
    let mut lines = Lines::default();
    match origin {
        Origin::Url(url) => lines.text("url", url.as_str()),
        // The same file, whichever folder the program is started in.
        Origin::File(path) => {
            let path = std::path::absolute(path).unwrap_or_else(|_| path.clone());
            lines.text("file", &path.display().to_string());
        }
        Origin::ByHand => lines.text("by-hand", ""),
    }
    lines.text("unit", unit.name());
    lines.maybe("code", code.as_deref());
    lines.layout(dialect);
    lines.0
}

/// Lines of a key and a value in JSON, whose quotes keep one value from passing for two.
#[derive(Default)]
struct Lines(String);

impl Lines {
    fn value(&mut self, key: &str, value: impl Into<serde_json::Value>) {
        self.0 += &format!("{key} {}\n", value.into());
    }

    fn text(&mut self, key: &str, text: &str) {
        self.value(key, text);
    }

    fn maybe(&mut self, key: &str, text: Option<&str>) {
        if let Some(text) = text {
            self.text(key, text);
        }
    }

    fn list(&mut self, key: &str, texts: &[String]) {
        self.value(key, texts.to_vec());
    }

    fn flag(&mut self, key: &str, set: bool) {
        if set {
            self.value(key, true);
        }
    }

    /// Names in a header go by any case.
    fn names(&mut self, key: &str, names: &[String]) {
        if !names.is_empty() {
            let names: Vec<String> = names.iter().map(|name| name.to_ascii_lowercase()).collect();
            self.list(key, &names);
        }
    }

    fn column(&mut self, key: &str, column: &Column) {
        let Column { names, position } = column;
        self.names(key, names);
        if let Some(position) = position {
            self.value(&format!("{key}-position"), *position);
        }
    }

    fn layout(&mut self, dialect: &Dialect) {
        // Taken apart by name, so that a further field cannot be forgotten here.
        let Dialect {
            name: _,
            title: _,
            advice: _,
            // Which units such files may come in; the one that counts is bound.
            units: _,
            // What is expected of the feed, not how it is read.
            import_only: _,
            model: _,
            usual_lag_days: _,
            layout,
            header,
            header_starts_with,
            skip_lines,
            ends_with,
            encoding,
            zip_member,
            delimiter,
            date_formats,
            decimal_comma,
            missing,
            columns,
            rain_trace,
            wind_unit,
            quality_part,
            flag_rule,
            conditions,
            either_extreme,
            provisional_days,
            elements,
        } = dialect;
        self.text("layout", name_of(&Layout::NAMED, *layout));
        self.text("header", name_of(&Header::NAMED, *header));
        self.names("header-starts-with", header_starts_with);
        self.value("skip-lines", *skip_lines);
        self.maybe("ends-with", ends_with.as_deref());
        self.text("encoding", name_of(&Encoding::NAMED, *encoding));
        self.maybe("zip-member", zip_member.as_deref());
        self.value("delimiter", *delimiter);
        self.list("date-formats", date_formats);
        self.flag("decimal-comma", *decimal_comma);
        self.list("missing", missing);
        self.columns(columns);
        self.list("rain-trace", rain_trace);
        if let Some(unit) = wind_unit {
            self.text("wind-unit", name_of(&WindUnit::NAMED, *unit));
        }
        if let Some(part) = quality_part {
            self.value("quality-part", *part);
        }
        match flag_rule {
            FlagRule::AnyIsBad => self.text("flags", "any is bad"),
            FlagRule::Bad(flags) => self.list("bad-flags", flags),
            FlagRule::Good(flags) => self.list("good-flags", flags),
        }
        for condition in conditions {
            self.column("row-condition", &condition.column);
            self.list("row-condition-is", &condition.is);
            let otherwise = name_of(&Otherwise::NAMED, condition.otherwise);
            self.text("row-condition-otherwise", otherwise);
        }
        self.flag("either-extreme", *either_extreme);
        self.value("provisional-days", *provisional_days);
        if let Some(elements) = elements {
            self.text("element-tmax", &elements.tmax);
            self.text("element-tmin", &elements.tmin);
            self.maybe("element-rain", elements.rain.as_deref());
        }
    }

    fn columns(&mut self, columns: &Columns) {
        let Columns {
            station,
            date,
            year,
            month,
            day,
            tmax,
            tmin,
            tmax_flags,
            tmin_flags,
            rain,
            rain_flags,
            wind,
            element,
            value,
            quality,
        } = columns;
        for (key, column) in [
            ("station", station),
            ("date", date),
            ("year", year),
            ("month", month),
            ("day", day),
            ("tmax", tmax),
            ("tmin", tmin),
            ("tmax-flags", tmax_flags),
            ("tmin-flags", tmin_flags),
            ("rain", rain),
            ("rain-flags", rain_flags),
            ("wind", wind),
            ("element", element),
            ("value", value),
            ("quality", quality),
        ] {
            self.column(&format!("column-{key}"), column);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::dialect_file;
    use crate::domain::place::site::Station;
    use crate::domain::weather::observation_day::DayShift;
    use crate::station_feed::dialect::{Elements, RowCondition};

    fn feeds() -> Vec<StationFeed> {
        dialect_file::BUILT_IN
            .iter()
            .map(|(file, text)| {
                let dialect = dialect_file::read(file, text).expect("it loads");
                StationFeed {
                    station: Station {
                        id: "hill".into(),
                        name: "The hill".into(),
                        usual_lag_days: 3,
                        elevation_m: None,
                        neighbours: Vec::new(),
                        day_shift: DayShift::default(),
                    },
                    origin: Origin::Url("https://feeds.example/hill.csv".parse().unwrap()),
                    binding: Binding {
                        unit: dialect.units[0],
                        dialect,
                        code: Some("ZZI00000009".into()),
                        latitude: Some(43.0),
                    },
                    forecast: None,
                    normals: None,
                }
            })
            .collect()
    }

    #[test]
    fn words_and_places_are_no_part_of_a_fingerprint() {
        for feed in feeds() {
            let mut other = feed.clone();
            let dialect = &mut other.binding.dialect;
            dialect.name += "-own";
            dialect.title += ".";
            dialect.advice = Some("look at it now and then".into());
            dialect.usual_lag_days = Some(9);
            dialect.units = vec![Unit::TenthsCelsius, Unit::Fahrenheit, Unit::Celsius];
            other.binding.latitude = Some(-20.0);
            other.station.name += " (old)";
            let name = &feed.binding.dialect.name;
            assert_eq!(feed.fingerprint(), other.fingerprint(), "{name}");
        }
    }

    #[test]
    fn the_case_of_a_column_s_name_is_no_part_of_it_either() {
        let feed = &feeds()[3];
        let mut other = feed.clone();
        for name in &mut other.binding.dialect.columns.tmax.names {
            *name = name.to_lowercase();
        }
        assert_ne!(feed.binding, other.binding);
        assert_eq!(feed.fingerprint(), other.fingerprint());
    }

    #[test]
    fn whatever_changes_how_a_file_is_read_changes_its_fingerprint() {
        type Change = fn(&mut StationFeed);
        let changes: [Change; 37] = [
            |f| f.origin = Origin::Url("https://feeds.example/hill2.csv".parse().unwrap()),
            |f| f.origin = Origin::Url("https://feeds.example/hill.csv?a=1".parse().unwrap()),
            |f| f.origin = Origin::File("hill.csv".into()),
            |f| f.origin = Origin::ByHand,
            |f| f.binding.unit = Unit::Fahrenheit,
            |f| f.binding.code = None,
            |f| f.binding.code = Some("ZZI00000008".into()),
            |f| f.binding.dialect.layout = Layout::RowAValue,
            |f| f.binding.dialect.header = Header::Absent,
            |f| f.binding.dialect.header_starts_with.push("time".into()),
            |f| f.binding.dialect.skip_lines = 7,
            |f| f.binding.dialect.ends_with = Some("end".into()),
            |f| f.binding.dialect.encoding = Encoding::Latin1,
            |f| f.binding.dialect.zip_member = Some("*.txt".into()),
            |f| f.binding.dialect.delimiter = b';',
            |f| f.binding.dialect.date_formats.push("%d.%m.%Y".into()),
            |f| f.binding.dialect.date_formats.reverse(),
            |f| f.binding.dialect.decimal_comma = true,
            |f| f.binding.dialect.missing.push("-888".into()),
            |f| f.binding.dialect.columns.station.names.clear(),
            |f| f.binding.dialect.columns.date.names.push("day".into()),
            |f| f.binding.dialect.columns.tmax.position = Some(4),
            |f| f.binding.dialect.columns.tmin.position = Some(4),
            |f| f.binding.dialect.columns.tmax_flags.names.clear(),
            |f| f.binding.dialect.columns.quality.names.push("q".into()),
            |f| f.binding.dialect.columns.rain.names.clear(),
            |f| f.binding.dialect.rain_trace.push("T".into()),
            |f| f.binding.dialect.columns.wind.position = Some(4),
            |f| f.binding.dialect.wind_unit = Some(WindUnit::Knots),
            |f| f.binding.dialect.quality_part = None,
            |f| f.binding.dialect.flag_rule = FlagRule::Bad(vec!["X".into()]),
            |f| f.binding.dialect.flag_rule = FlagRule::Good(vec!["X".into()]),
            |f| f.binding.dialect.either_extreme = true,
            |f| f.binding.dialect.provisional_days = 2,
            |f| {
                f.binding.dialect.conditions.push(RowCondition {
                    column: Column {
                        names: vec!["hours".into()],
                        position: None,
                    },
                    is: vec!["24".into()],
                    otherwise: Otherwise::Refuse,
                });
            },
            |f| {
                f.binding.dialect.elements = Some(Elements {
                    tmax: "TMAX".into(),
                    tmin: "TMIN".into(),
                    rain: None,
                });
            },
            |f| {
                f.binding.dialect.elements = Some(Elements {
                    tmax: "TMAX".into(),
                    tmin: "TMIN".into(),
                    rain: Some("PRCP".into()),
                });
            },
        ];
        let feed = &feeds()[3];
        assert_eq!(feed.binding.dialect.name, "ghcn-access");
        let mut seen = vec![feed.fingerprint()];
        for (place, change) in changes.into_iter().enumerate() {
            let mut other = feed.clone();
            change(&mut other);
            let fingerprint = other.fingerprint();
            assert!(!seen.contains(&fingerprint), "change {place}");
            seen.push(fingerprint);
        }
    }

    /// Databases hold it: whatever is renamed or added in the source, it stays as it is here.
    #[test]
    fn the_text_behind_a_fingerprint_is_the_one_that_databases_hold() {
        let feed = &feeds()[3];
        let text = way_of_reading(&feed.origin, &feed.binding);
        assert_eq!(
            text,
            r#"url "https://feeds.example/hill.csv"
unit "tenths-celsius"
code "ZZI00000009"
layout "row-a-day"
header "required"
skip-lines 0
encoding "utf-8"
delimiter 44
date-formats ["%Y-%m-%d","%Y/%m/%d"]
missing ["","-9999"]
column-station ["station"]
column-date ["date"]
column-tmax ["tmax"]
column-tmin ["tmin"]
column-tmax-flags ["tmax_attributes"]
column-tmin-flags ["tmin_attributes"]
column-rain ["prcp"]
column-rain-flags ["prcp_attributes"]
rain-trace []
quality-part 1
flags "any is bad"
provisional-days 0
"#
        );
    }

    #[test]
    fn a_file_is_the_same_one_from_whichever_folder_the_program_is_started() {
        let mut feed = feeds().remove(0);
        feed.origin = Origin::File("hill.csv".into());
        let relative = feed.fingerprint();
        feed.origin = Origin::File(std::path::absolute("hill.csv").unwrap());
        assert_eq!(relative, feed.fingerprint());
    }

    #[test]
    fn a_change_of_the_unit_alone_is_known_by_the_unit_before() {
        for feed in feeds() {
            for (_, unit) in Unit::NAMED {
                let mut other = feed.clone();
                other.binding.unit = unit;
                let due = (unit != feed.binding.unit).then_some(feed.binding.unit);
                assert_eq!(other.unit_before(&feed.fingerprint()), due);
                other.binding.code = Some("ZZI00000008".into());
                assert_eq!(other.unit_before(&feed.fingerprint()), None);
            }
        }
    }

    #[test]
    fn only_another_way_of_reading_forgets_the_last_file_and_only_the_same_way_believes_not_modified()
     {
        let today = "2:0000beef";
        for (stored, due, (against_last, known)) in [
            ("", LastRead::Never, (false, false)),
            ("2:0000beef", LastRead::SameWay, (true, true)),
            ("0000beef", LastRead::OtherForm, (true, false)),
            ("2:0000cafe", LastRead::OtherWay, (false, false)),
        ] {
            let last = LastRead::of(stored, today);
            assert_eq!(last, due, "{stored}");
            assert_eq!(last.is_held_against_last_file(), against_last, "{stored}");
            assert_eq!(last.is_known_version(), known, "{stored}");
        }
    }
}
