//! The tables of a batch. In: rows, one at a time. Out: the same rows as CSV and as Parquet.
//!
//! Columns: `pupil`, `swing`, `files`, `program`, `scale`, then for every value that a result
//! can have its name with the unit in brackets, and the same for its sd. A missing value is an
//! empty cell, and null. Parquet: version 1 pages, not compressed, text as UTF-8 and values as
//! 64-bit floats, a row group every [`GROUP`] rows, nothing that depends on the day or the
//! machine. Rows are written as they come, so that memory does not grow with their number.

use std::fs::File;
use std::io::{BufWriter, Write as _};
use std::path::Path;
use std::sync::Arc;

use parquet::basic::{ConvertedType, LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{Type, TypePtr};

use super::BatchError;
use crate::compare::Key;
use crate::error::Error;
use crate::results::{NewFile, SwingResult, Unit, Value};

/// Columns of text before the values.
pub const TEXTS: [&str; 5] = ["pupil", "swing", "files", "program", "scale"];
/// Rows held in memory at once.
const GROUP: usize = 500;

/// One swing.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    pub texts: [String; TEXTS.len()],
    /// Value and sd of every [`Key`] in order.
    pub values: Vec<Option<f64>>,
}

impl Row {
    #[must_use]
    pub fn new(pupil: &str, swing: &str, files: &str, result: &SwingResult) -> Self {
        let scale = format!("{:?}", result.scale.method).to_lowercase();
        let program = result.program.as_str();
        let values = Key::all().flat_map(|key| {
            let known = key.of(result).and_then(Value::estimate);
            [known.map(|k| k.value), known.map(|k| k.sd)]
        });
        Self {
            texts: [pupil, swing, files, program, &scale].map(str::to_owned),
            values: values.collect(),
        }
    }
}

/// `top.lower_hub_target [cm]` and its sd, for every value that a result can have.
pub fn value_columns() -> impl Iterator<Item = String> {
    Key::all().flat_map(|key| {
        let unit = match key.unit() {
            Unit::Cm => "cm",
            Unit::Deg => "deg",
            Unit::Ratio => "ratio",
            Unit::S => "s",
        };
        [format!("{key} [{unit}]"), format!("{key} sd [{unit}]")]
    })
}

/// Both tables in the making; neither has its name before [`Tables::finish`].
pub struct Tables {
    csv: (NewFile, csv::Writer<BufWriter<File>>),
    parquet: (NewFile, SerializedFileWriter<File>),
    waiting: Vec<Row>,
}

impl Tables {
    /// # Errors
    /// When the folder cannot be written.
    pub fn create(csv: &Path, parquet: &Path) -> Result<Self, Error> {
        let mut table = NewFile::create(csv)?;
        let out = BufWriter::new(table.written(|file| file.try_clone())?);
        let mut writer = csv::Writer::from_writer(out);
        let names = TEXTS.map(str::to_owned).into_iter().chain(value_columns());
        table.written(|_| Ok(writer.write_record(names)?))?;
        let mut columns = NewFile::create(parquet)?;
        let out = columns.written(|file| file.try_clone())?;
        let schema = schema().map_err(|e| BatchError::Parquet(e.to_string()))?;
        let made_by = format!("hubgauge {}", env!("CARGO_PKG_VERSION"));
        let properties = WriterProperties::builder().set_created_by(made_by).build();
        let open = SerializedFileWriter::new(out, schema, Arc::new(properties));
        let open = columns.written(|_| open.map_err(io))?;
        Ok(Self { csv: (table, writer), parquet: (columns, open), waiting: Vec::new() })
    }

    /// # Errors
    /// When the disk is full, for one.
    pub fn push(&mut self, row: Row) -> Result<(), Error> {
        let (file, writer) = &mut self.csv;
        let cell = |value: &Option<f64>| value.map(|v| v.to_string()).unwrap_or_default();
        let cells = row.texts.iter().cloned().chain(row.values.iter().map(cell));
        file.written(|_| Ok(writer.write_record(cells)?))?;
        self.waiting.push(row);
        if self.waiting.len() == GROUP { self.write_group() } else { Ok(()) }
    }

    fn write_group(&mut self) -> Result<(), Error> {
        let rows = std::mem::take(&mut self.waiting);
        if rows.is_empty() {
            return Ok(());
        }
        let (file, writer) = &mut self.parquet;
        Ok(file.written(|_| write_rows(writer, &rows).map_err(io))?)
    }

    /// Gives both files their names.
    ///
    /// # Errors
    /// When they cannot be brought to disk; neither table is new then, or only the CSV.
    pub fn finish(mut self) -> Result<(), Error> {
        self.write_group()?;
        let (mut table, mut writer) = self.csv;
        table.written(|_| writer.flush())?;
        let (mut columns, writer) = self.parquet;
        columns.written(|_| writer.into_inner().map_err(io)?.flush())?;
        table.finish()?;
        Ok(columns.finish()?)
    }
}

fn schema() -> Result<TypePtr, ParquetError> {
    let text = |name: &&str| {
        Type::primitive_type_builder(name, Physical::BYTE_ARRAY)
            .with_repetition(Repetition::REQUIRED)
            .with_logical_type(Some(LogicalType::String))
            .with_converted_type(ConvertedType::UTF8)
            .build()
    };
    let value = |name: String| {
        Type::primitive_type_builder(&name, Physical::DOUBLE)
            .with_repetition(Repetition::OPTIONAL)
            .build()
    };
    let fields = TEXTS.iter().map(text).chain(value_columns().map(value));
    let fields = fields.map(|field| field.map(Arc::new)).collect::<Result<_, _>>()?;
    Type::group_type_builder("swings").with_fields(fields).build().map(Arc::new)
}

/// One row group, column by column.
fn write_rows(writer: &mut SerializedFileWriter<File>, rows: &[Row]) -> Result<(), ParquetError> {
    let mut group = writer.next_row_group()?;
    let mut at = 0_usize;
    while let Some(mut column) = group.next_column()? {
        match at.checked_sub(TEXTS.len()) {
            None => {
                let texts: Vec<ByteArray> =
                    rows.iter().map(|row| ByteArray::from(row.texts[at].as_str())).collect();
                column.typed::<ByteArrayType>().write_batch(&texts, None, None)?;
            }
            Some(i) => {
                let value = |row: &Row| row.values.get(i).copied().flatten();
                let present: Vec<f64> = rows.iter().filter_map(value).collect();
                let is_there: Vec<i16> =
                    rows.iter().map(|row| i16::from(value(row).is_some())).collect();
                column.typed::<DoubleType>().write_batch(&present, Some(&is_there), None)?;
            }
        }
        column.close()?;
        at += 1;
    }
    group.close().map(drop)
}

/// The crate hides an I/O error inside its own.
fn io(error: ParquetError) -> std::io::Error {
    match error {
        ParquetError::External(inner) => match inner.downcast::<std::io::Error>() {
            Ok(io) => *io,
            Err(other) => std::io::Error::other(other),
        },
        other => std::io::Error::other(other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use parquet::file::reader::{FileReader as _, SerializedFileReader};
    use parquet::record::Field;

    fn row(i: usize) -> Row {
        let columns = value_columns().count();
        let value = |c: usize| (!(i + c).is_multiple_of(7)).then_some(i as f64 - 0.25 * c as f64);
        Row {
            texts: [
                format!("Ännchen, \"{i}\""),
                format!("s{i}"),
                "a.mp4".into(),
                "p".into(),
                "".into(),
            ],
            values: (0..columns).map(value).collect(),
        }
    }

    fn written(folder: &Path, rows: usize) -> (Vec<u8>, Vec<u8>) {
        let (csv, parquet) = (folder.join("t.csv"), folder.join("t.parquet"));
        let mut tables = Tables::create(&csv, &parquet).unwrap();
        (0..rows).for_each(|i| tables.push(row(i)).unwrap());
        assert_eq!(std::fs::read_dir(folder).unwrap().count(), 2, "no name before the end");
        assert!(!csv.exists() && !parquet.exists());
        tables.finish().unwrap();
        (std::fs::read(csv).unwrap(), std::fs::read(parquet).unwrap())
    }

    #[test]
    fn parquet_and_csv_read_back_as_the_same_rows_and_are_the_same_bytes_every_time() {
        let rows = GROUP + 3;
        let (one, two) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let first = written(one.path(), rows);
        assert!(first == written(two.path(), rows));
        let file = File::open(one.path().join("t.parquet")).unwrap();
        let reader = SerializedFileReader::new(file).unwrap();
        assert_eq!(reader.num_row_groups(), 2);
        let mut table = csv::Reader::from_reader(first.0.as_slice());
        let names = table.headers().unwrap().clone();
        let mut records = table.records();
        for (i, found) in reader.get_row_iter(None).unwrap().enumerate() {
            let (found, cells) = (found.unwrap(), records.next().unwrap().unwrap());
            let wanted = row(i);
            for (c, (name, field)) in found.get_column_iter().enumerate() {
                assert_eq!(name.as_str(), &names[c]);
                let want = match c.checked_sub(TEXTS.len()) {
                    None => Field::Str(wanted.texts[c].clone()),
                    Some(v) => wanted.values[v].map_or(Field::Null, Field::Double),
                };
                assert_eq!(*field, want, "{name}");
                let cell = match field {
                    Field::Str(text) => text.clone(),
                    Field::Double(value) => value.to_string(),
                    _ => String::new(),
                };
                assert_eq!(cells[c], cell);
            }
        }
        assert!(records.next().is_none());
    }

    #[test]
    fn every_value_has_a_column_with_its_unit_and_one_for_its_sd() {
        let names: Vec<String> = value_columns().collect();
        assert_eq!(names.len(), 2 * Key::all().count());
        assert!(names.contains(&"top.lower_hub_target [cm]".to_owned()));
        assert!(names.contains(&"swing.tempo sd [ratio]".to_owned()));
    }

    #[test]
    fn a_table_without_rows_is_a_table() {
        let folder = tempfile::tempdir().unwrap();
        let (csv, parquet) = written(folder.path(), 0);
        assert_eq!(csv.iter().filter(|b| **b == b'\n').count(), 1);
        assert!(parquet.starts_with(b"PAR1") && parquet.ends_with(b"PAR1"));
    }
}
