//! Series that cases are about, copied as facts with their source in the first line of each file.

/// A named column of numbers; `None` where the cell is empty.
pub type Figures = Vec<Option<f64>>;

/// The series of a name.
pub fn series(name: &str) -> Result<Series, String> {
    let text = match name {
        "nile" => include_str!("series/nile.csv"),
        "nile_missing" => include_str!("series/nile_missing.csv"),
        "nile_missing_full_parameters" => include_str!("series/nile_missing_full_parameters.csv"),
        "eight_cows" => include_str!("series/eight_cows.csv"),
        "milkfat" => include_str!("series/milkfat.csv"),
        _ => return Err(format!("no series `{name}`; copy it into cases/series and name it in series.rs")),
    };
    Ok(Series { text })
}

/// A small table of figures.
#[derive(Debug, Clone, Copy)]
pub struct Series {
    text: &'static str,
}

impl Series {
    /// A column by its header.
    pub fn column(self, name: &str) -> Result<Figures, String> {
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(self.text.as_bytes());
        let place = reader
            .headers()
            .map_err(|error| error.to_string())?
            .iter()
            .position(|header| header == name)
            .ok_or_else(|| format!("no column `{name}` in the series"))?;
        reader
            .records()
            .map(|record| {
                let record = record.map_err(|error| error.to_string())?;
                match record.get(place).unwrap_or_default() {
                    "" => Ok(None),
                    cell => cell.parse().map(Some).map_err(|_| format!("`{cell}` is no figure")),
                }
            })
            .collect()
    }

    /// Pairs of two columns, rows without both left out.
    pub fn pairs(self, first: &str, second: &str) -> Result<Vec<(f64, f64)>, String> {
        Ok(self
            .column(first)?
            .into_iter()
            .zip(self.column(second)?)
            .filter_map(|(x, y)| Some((x?, y?)))
            .collect())
    }
}
