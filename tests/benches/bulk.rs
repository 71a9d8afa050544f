//! How long one by_year file of eleven million rows takes, and how much memory: `import --bulk
//! --every-station` beside DuckDB reading the same file, and parsing alone beside a bare pass of
//! the csv crate.
//!
//! Makes the file, and a Python environment for DuckDB, in a folder under `target/`. Every
//! measurement is a process of its own, run by the same script; the result of each import is
//! compared with what DuckDB has.

#[path = "bulk/year_file.rs"]
mod year_file;

use anyhow::{Context, bail, ensure};
use flate2::{Compression, write::GzEncoder};
use hatchbell::config::dialect_file;
use hatchbell::feed::bulk::{BulkLimits, WantedStations, read};
use hatchbell::station_feed::dialect::Dialect;
use hatchbell::store::Store;
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::Command;

const SEED: u64 = 1;
const RUNS: usize = 3;

fn main() -> anyhow::Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match &arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["csv-pass", file] => csv_pass(Path::new(file)),
        ["parse-pass", file] => parse_pass(Path::new(file)),
        _ => compare(),
    }
}

/// Reads every record of a file and nothing more.
fn csv_pass(file: &Path) -> anyhow::Result<()> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_path(file)?;
    let mut record = csv::ByteRecord::new();
    let mut fields = 0;
    while reader.read_byte_record(&mut record)? {
        fields += record.len();
    }
    ensure!(fields > 0, "nothing was read");
    Ok(())
}

/// Parses and packs every value of a file and throws them away.
fn parse_pass(file: &Path) -> anyhow::Result<()> {
    let dialect = long_rows()?;
    let wanted = WantedStations {
        dialect: &dialect,
        stations: Vec::new(),
        every_station: true,
        today: chrono::NaiveDate::from_ymd_opt(2026, 1, 1).context("a date")?,
        limits: BulkLimits::of_each(1),
    };
    let mut kept = 0;
    read(File::open(file)?, &wanted, &mut |part| {
        kept += part.harvest.len();
        Ok(())
    })?;
    ensure!(kept > 0, "nothing was read");
    Ok(())
}

fn long_rows() -> anyhow::Result<Dialect> {
    let (file, text) = dialect_file::BUILT_IN
        .iter()
        .find(|(file, _)| file.ends_with("/ghcn-long.toml"))
        .context("the dialect is missing")?;
    dialect_file::read(file, text).map_err(|problems| anyhow::anyhow!("{problems:?}"))
}

/// Seconds and KiB of a process.
#[derive(Clone, Copy)]
struct Cost {
    seconds: f64,
    kib: u64,
}

fn compare() -> anyhow::Result<()> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("bulk");
    fs::create_dir_all(&folder)?;
    let scripts = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/benches/bulk");
    let python = python(&folder, &scripts)?;
    let plain = year_file(&folder)?;
    let packed = packed(&plain)?;
    let this = std::env::current_exe()?;
    println!("load before: {}", load());
    let mut rows: Vec<(&str, Vec<Cost>)> = Vec::new();
    for _ in 0..RUNS {
        for (ours, theirs, file) in [
            ("hatchbell, .csv", "DuckDB, .csv", &plain),
            ("hatchbell, .csv.gz", "DuckDB, .csv.gz", &packed),
        ] {
            let (cost, totals) = import(&folder, &scripts, file)?;
            note(&mut rows, ours, cost);
            let (cost, expected) = pivot(&folder, &scripts, &python, file)?;
            note(&mut rows, theirs, cost);
            ensure!(totals == expected, "{totals} is stored, {expected} is due");
        }
        for (name, pass) in [
            ("parsing alone", "parse-pass"),
            ("csv crate alone", "csv-pass"),
        ] {
            let mut command = Command::new("python3");
            command
                .arg(scripts.join("measure.py"))
                .arg(&this)
                .arg(pass)
                .arg(&plain);
            note(&mut rows, name, measured(command)?);
        }
    }
    println!("load after: {}", load());
    println!("medians of {RUNS} runs; all runs in brackets");
    for (name, costs) in &rows {
        let seconds: Vec<f64> = costs.iter().map(|cost| cost.seconds).collect();
        let mib: Vec<f64> = costs.iter().map(|cost| cost.kib as f64 / 1024.0).collect();
        println!(
            "{name:20} {:6.2} s {seconds:.2?}   {:7.1} MiB {mib:.1?}",
            median(&seconds),
            median(&mib),
        );
    }
    Ok(())
}

fn note<'n>(rows: &mut Vec<(&'n str, Vec<Cost>)>, name: &'n str, cost: Cost) {
    match rows.iter_mut().find(|(known, _)| *known == name) {
        Some((_, costs)) => costs.push(cost),
        None => rows.push((name, vec![cost])),
    }
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

fn load() -> String {
    fs::read_to_string("/proc/loadavg")
        .unwrap_or_default()
        .trim()
        .to_owned()
}

/// Runs `measure.py`, which prints seconds and KiB last.
fn measured(mut command: Command) -> anyhow::Result<Cost> {
    let output = command.output()?;
    let text = String::from_utf8_lossy(&output.stdout);
    ensure!(
        output.status.success(),
        "{command:?}: {text}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let mut words = text.split_whitespace().rev();
    let (kib, seconds) = (words.next(), words.next());
    Ok(Cost {
        seconds: seconds.context("no time")?.parse()?,
        kib: kib.context("no memory")?.parse()?,
    })
}

/// Imports a file into a new database: the cost, and what is stored.
fn import(folder: &Path, scripts: &Path, file: &Path) -> anyhow::Result<(Cost, String)> {
    let database = folder.join("hatchbell.db");
    for ending in ["", "-wal", "-shm"] {
        remove(&folder.join(format!("hatchbell.db{ending}")))?;
    }
    let config = folder.join("hatchbell.toml");
    fs::write(&config, CONFIG)?;
    let mut command = Command::new("python3");
    command
        .arg(scripts.join("measure.py"))
        .arg(env!("CARGO_BIN_EXE_hatchbell"))
        .args(["import", "--bulk", "--every-station", "--config"])
        .arg(&config)
        .arg(file);
    let cost = measured(command)?;
    let wal = folder.join("hatchbell.db-wal");
    let left = fs::metadata(&wal).map_or(0, |wal| wal.len());
    ensure!(left == 0, "{left} bytes are not in the database itself yet");
    Ok((cost, totals(&database)?))
}

/// Station-days, maxima, minima and their sums in tenths.
fn totals(database: &Path) -> anyhow::Result<String> {
    let store = Store::open_to_read(database)?;
    let connection = rusqlite::Connection::open(database)?;
    let mut statement = connection.prepare("SELECT DISTINCT code FROM archive")?;
    let codes = statement.query_map([], |row| row.get::<_, String>(0))?;
    let (mut days, mut maxima, mut minima, mut max_sum, mut min_sum) = (0, 0, 0, 0, 0);
    for code in codes {
        let (readings, _) = store.archived(&code?, i32::MIN)?;
        for reading in readings.values() {
            days += 1;
            if let Some(max) = reading.max {
                maxima += 1;
                max_sum += (max * 10.0).round() as i64;
            }
            if let Some(min) = reading.min {
                minima += 1;
                min_sum += (min * 10.0).round() as i64;
            }
        }
    }
    Ok(format!("{days} {maxima} {minima} {max_sum} {min_sum}"))
}

/// Pivots a file with DuckDB into a new database: the cost, and what is stored.
fn pivot(
    folder: &Path,
    scripts: &Path,
    python: &Path,
    file: &Path,
) -> anyhow::Result<(Cost, String)> {
    let database = folder.join("pivot.duckdb");
    for ending in ["", ".wal"] {
        remove(&folder.join(format!("pivot.duckdb{ending}")))?;
    }
    let mut command = Command::new("python3");
    command
        .arg(scripts.join("measure.py"))
        .arg(python)
        .arg(scripts.join("pivot.py"))
        .args([file, &database]);
    let cost = measured(command)?;
    let mut totals = Command::new(python);
    let output = totals
        .arg(scripts.join("totals.py"))
        .arg(&database)
        .output()?;
    ensure!(output.status.success(), "{output:?}");
    Ok((cost, String::from_utf8(output.stdout)?.trim().to_owned()))
}

fn remove(path: &Path) -> anyhow::Result<()> {
    match fs::remove_file(path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(error.into()),
        _ => Ok(()),
    }
}

/// A Python environment with DuckDB.
fn python(folder: &Path, scripts: &Path) -> anyhow::Result<PathBuf> {
    let environment = folder.join("python");
    let python = environment.join("bin/python");
    let requirements = scripts.join("requirements.txt");
    let stamp = environment.join("stamp");
    let wanted = fs::read_to_string(&requirements)?;
    if fs::read_to_string(&stamp).is_ok_and(|made| made == wanted) {
        return Ok(python);
    }
    let steps: [Vec<&std::ffi::OsStr>; 2] = [
        vec![
            "python3".as_ref(),
            "-m".as_ref(),
            "venv".as_ref(),
            environment.as_ref(),
        ],
        vec![
            python.as_ref(),
            "-m".as_ref(),
            "pip".as_ref(),
            "install".as_ref(),
            "--quiet".as_ref(),
            "--requirement".as_ref(),
            requirements.as_ref(),
        ],
    ];
    for step in steps {
        let status = Command::new(step[0]).args(&step[1..]).status()?;
        if !status.success() {
            bail!("{step:?} ended with {status}");
        }
    }
    fs::write(stamp, wanted)?;
    Ok(python)
}

/// The file; written once.
fn year_file(folder: &Path) -> anyhow::Result<PathBuf> {
    let path = folder.join("by_year.csv");
    if !path.exists() {
        let unfinished = folder.join("by_year.unfinished");
        let mut to = BufWriter::with_capacity(1 << 20, File::create(&unfinished)?);
        let rows = year_file::write(SEED, &mut to)?;
        println!("{}: {rows} rows", path.display());
        ensure!(rows >= 11_000_000, "eleven million rows are due");
        fs::rename(unfinished, &path)?;
    }
    Ok(path)
}

fn packed(plain: &Path) -> anyhow::Result<PathBuf> {
    let path = plain.with_extension("csv.gz");
    if !path.exists() {
        let unfinished = plain.with_extension("gz.unfinished");
        let to = BufWriter::new(File::create(&unfinished)?);
        let mut encoder = GzEncoder::new(to, Compression::default());
        std::io::copy(&mut File::open(plain)?, &mut encoder)?;
        encoder.finish()?.flush()?;
        fs::rename(unfinished, &path)?;
    }
    Ok(path)
}

const CONFIG: &str = r#"
[service]
name = "A benchmark"
contact = "mailto:bench@three-brooks.example"
schedule = "0 0 6 * * *"
database = "hatchbell.db"

[[station]]
id = "meadow"
name = "Meadow"
dialect = "ghcn-long"
file = "none.csv"

[[member]]
id = "member"
name = "A member"

[[member.site]]
id = "lawn"
name = "The lawn"
turf = "ryegrass"
latitude = 47.4
station = "meadow"
species = ["japanese-beetle"]

[[member.recipient]]
id = "keeper"
name = "the keeper"
console = true
"#;
