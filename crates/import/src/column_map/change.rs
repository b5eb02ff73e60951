//! A map changed by choices: what a column of the file becomes, what stands in every row, how figures and days are written.

use std::collections::BTreeMap;

use cowpath_core::tables::Kind;

use super::{ColumnMap, DayOrder, MapFault, Take, plain_word};

/// What a person chose; what she did not speak of stays as the map has it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Chosen {
    /// The sign before decimals.
    pub decimal: Option<u8>,
    /// The order of days.
    pub order: Option<DayOrder>,
    /// A column of the file, by its header word, and the column of ours that it becomes, by its place in the table; none:
    /// it is not used.
    pub columns: Vec<(String, Option<usize>)>,
    /// What stands in every row, for columns of ours by their place; empty: nothing fills it any more.
    pub values: BTreeMap<usize, String>,
}

impl ColumnMap {
    /// The map with what was chosen. Unit, words and all else that is said of a column stay where its target stays; where
    /// it changes the figures are taken to be in our own unit. Two columns that become one time are its day and its time
    /// of day, in the order of `columns` of the map.
    ///
    /// # Errors
    /// Where two columns of the file would become the same. What the map lacks then ([`ColumnMap::lacks`]) is no error.
    pub fn changed(&self, chosen: &Chosen) -> Result<ColumnMap, MapFault> {
        let mut map = self.clone();
        if let Some(decimal) = chosen.decimal.filter(|&decimal| decimal != map.decimal) {
            if map.thousands == Some(decimal) {
                map.thousands = Some(map.decimal);
            }
            map.decimal = decimal;
        }
        map.order = chosen.order.unwrap_or(map.order);
        // What is given up comes first: two columns may change places.
        for (word, to) in &chosen.columns {
            map.give_up(word, *to);
        }
        for (word, to) in &chosen.columns {
            if let Some(to) = to {
                map.take_up(word, *to)?;
            }
        }
        for (&target, value) in &chosen.values {
            map.put(target, value.trim());
        }
        // A hint that rests on a column which is gone is no hint any more; the time is then of its own day.
        let filled: Vec<usize> = map.takes.iter().flat_map(|take| take.to.iter().copied()).collect();
        for take in &mut map.takes {
            take.next_day_of = take.next_day_of.filter(|base| filled.contains(base));
        }
        super::check::entries(&map).map_err(|(_, _, what, next)| MapFault { line: None, what, next })?;
        Ok(map)
    }

    /// Takes a column of the file out of every entry but the one that fills `to` alone.
    fn give_up(&mut self, word: &str, to: Option<usize>) {
        let plain = plain_word(word);
        self.takes.retain_mut(|take| {
            if to.is_some_and(|to| take.to == [to]) || !take.from.iter().any(|own| plain_word(own) == plain) {
                return true;
            }
            take.from.retain(|own| plain_word(own) != plain);
            // A time of two columns goes on with the other; anything else has nothing left to be read from.
            !take.from.is_empty()
        });
    }

    fn take_up(&mut self, word: &str, to: usize) -> Result<(), MapFault> {
        let plain = plain_word(word);
        let place = |columns: &[String], word: &str| {
            let plain = plain_word(word);
            columns.iter().position(|own| plain_word(own) == plain)
        };
        let is_time = self.table.columns.get(to).is_some_and(|column| column.kind == Kind::Time);
        let columns = &self.columns;
        if let Some(take) = self.takes.iter_mut().find(|take| take.to.contains(&to)) {
            if take.from.iter().any(|own| plain_word(own) == plain) {
                return Ok(());
            }
            if take.value.is_some() {
                *take = Take { from: vec![word.to_owned()], to: vec![to], ..Take::default() };
                return Ok(());
            }
            let pairs = is_time
                && take.from.len() == 1
                && take.to.len() == 1
                && take.split.is_none()
                && take.after.is_none()
                && take.before.is_none();
            if pairs {
                take.from.push(word.to_owned());
                take.from.sort_by_key(|own| place(columns, own));
                take.clock = None;
                return Ok(());
            }
            let name = self.table.columns.get(to).map_or("", |column| column.name);
            let others: Vec<String> = take.from.iter().map(|own| format!("\"{own}\"")).collect();
            return Err(MapFault {
                line: None,
                what: format!("both {} and \"{word}\" would become `{name}`", others.join(", ")),
                next: "choose \"not used\" for one of them, or another column of ours".into(),
            });
        }
        self.takes.push(Take { from: vec![word.to_owned()], to: vec![to], ..Take::default() });
        Ok(())
    }

    /// The same value in every row, where no column of the file fills the target.
    fn put(&mut self, target: usize, value: &str) {
        match self.takes.iter_mut().find(|take| take.to.contains(&target)) {
            Some(take) if take.value.is_some() && !value.is_empty() => take.value = Some(value.to_owned()),
            Some(take) if take.value.is_some() => self.takes.retain(|take| take.to != [target]),
            None if !value.is_empty() => {
                let value = Some(value.to_owned());
                self.takes.push(Take { to: vec![target], value, ..Take::default() });
            }
            _ => {}
        }
    }
}
