//! Ball-flight numbers, as the coach reads them off any launch monitor. In: quantities with
//! their units, typed or from a plain CSV. Out: rows of a swing.
//!
//! The CSV is plain: a first row of column names, each with its unit in brackets
//! (`attack_angle [deg]`), and a column `swing` with the swing's number in the library.

use std::path::Path;

use rusqlite::params;

use super::{Library, RecordError};
use crate::compare::{CompareError, Flight};

/// The rows of a CSV: a swing's number with its numbers. Empty cells are left out.
///
/// # Errors
/// When the table cannot be read; the message names the row.
pub fn flight_csv(path: &Path) -> Result<Vec<(i64, Vec<Flight>)>, RecordError> {
    let table = |why: String| RecordError::Table { file: path.display().to_string(), why };
    let mut reader = csv::Reader::from_path(path).map_err(|e| table(e.to_string()))?;
    let names = reader.headers().map_err(|e| table(e.to_string()))?.clone();
    let at = names.iter().position(|name| name.trim() == "swing");
    let at = at.ok_or_else(|| table("there is no column called swing".to_owned()))?;
    let mut rows = Vec::new();
    for (line, record) in reader.records().enumerate() {
        let record = record.map_err(|e| table(e.to_string()))?;
        let in_row = |e: CompareError| table(format!("row {}: {e}", line + 2));
        let swing = record.get(at).unwrap_or_default().trim();
        let swing =
            swing.parse().map_err(|_| table(format!("row {}: no number under swing", line + 2)))?;
        let cells = names.iter().zip(&record).enumerate();
        let cells = cells.filter(|(i, (_, cell))| *i != at && !cell.trim().is_empty());
        let flights =
            cells.map(|(_, (name, cell))| Flight::new(name, cell)).collect::<Result<_, _>>();
        rows.push((swing, flights.map_err(in_row)?));
    }
    Ok(rows)
}

impl Library {
    /// Stores ball-flight numbers: all of them or none. A quantity typed again replaces the old
    /// number.
    ///
    /// # Errors
    /// When a swing is not there.
    pub fn add_flights(&mut self, rows: &[(i64, Vec<Flight>)]) -> Result<(), RecordError> {
        let change = self.change()?;
        for (swing, flights) in rows {
            for flight in flights {
                let stored = change.execute(
                    "INSERT INTO ball_flight (swing_id, quantity, unit, value)
                     SELECT id, ?2, ?3, ?4 FROM swing WHERE id = ?1
                     ON CONFLICT DO UPDATE SET unit = excluded.unit, value = excluded.value",
                    params![swing, flight.quantity, flight.unit, flight.value],
                )?;
                if stored == 0 {
                    return Err(RecordError::NoSwing(*swing));
                }
            }
        }
        change.commit()?;
        Ok(())
    }

    /// # Errors
    /// When the library cannot be read.
    pub fn flights(&self, swing: i64) -> Result<Vec<Flight>, RecordError> {
        let mut rows = self.connection.prepare_cached(
            "SELECT quantity, unit, value FROM ball_flight WHERE swing_id = ?1 ORDER BY quantity",
        )?;
        let all = rows.query_map([swing], |row| {
            Ok(Flight { quantity: row.get(0)?, unit: row.get(1)?, value: row.get(2)? })
        })?;
        Ok(all.collect::<Result<_, _>>()?)
    }
}
