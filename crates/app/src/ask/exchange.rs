//! A file of the open exchange standard into the store: several tables, all of them or none.
//!
//! Like a plain table it is read on one thread and kept on another, in bundles. Who is who is known from the herd list
//! and from earlier files before the first resource is read.

use std::{collections::BTreeMap, sync::mpsc::sync_channel};

use cowpath_core::tables::{Table, table};
use cowpath_import::{
    Issue, IssueKind, ReadError, Reading,
    ade::{self, Counts, Document, Documents, Herd},
};
use cowpath_store::{Delivered, Delivery, Disposition, Farm, Meal, Origin, Sent, Source};

use super::bundle::KeeperStopped;
use super::coming::{Coming, print_of};
use super::take_in::{self, FileAnswer, Issues, TakenFile, Unread, Watch};

/// What batches of the standard name as their map.
pub(super) const MAP: &str = "ade";

/// Documents in one bundle.
const IN_BUNDLE: usize = 256;

/// What travels from the reader to the keeper.
enum Parcel {
    Documents(Vec<Document>),
    Issue(&'static Table, Issue),
    Alias(String, String, String),
}

struct Bundler {
    to_keeper: std::sync::mpsc::SyncSender<Parcel>,
    bundle: Vec<Document>,
}

impl Bundler {
    fn send(&mut self) -> Result<(), KeeperStopped> {
        if self.bundle.is_empty() {
            return Ok(());
        }
        let bundle = std::mem::replace(&mut self.bundle, Vec::with_capacity(IN_BUNDLE));
        self.to_keeper.send(Parcel::Documents(bundle)).map_err(|_| KeeperStopped)
    }
}

impl Documents for Bundler {
    type Error = KeeperStopped;

    fn document(&mut self, document: Document) -> Result<(), KeeperStopped> {
        self.bundle.push(document);
        if self.bundle.len() == IN_BUNDLE { self.send() } else { Ok(()) }
    }

    fn issue(&mut self, table: &'static Table, issue: Issue) -> Result<(), KeeperStopped> {
        self.send()?;
        self.to_keeper.send(Parcel::Issue(table, issue)).map_err(|_| KeeperStopped)
    }

    fn alias(&mut self, scheme: &str, id: &str, number: &str) -> Result<(), KeeperStopped> {
        let alias = Parcel::Alias(scheme.to_owned(), id.to_owned(), number.to_owned());
        self.to_keeper.send(alias).map_err(|_| KeeperStopped)
    }
}

/// Reads one file of the standard.
pub(super) fn take_in_file(
    store: &mut Farm,
    coming: &Coming,
    reading: &Reading,
    watch: &mut Watch,
) -> anyhow::Result<FileAnswer> {
    let path = coming.path.as_path();
    let content = match cowpath_import::content_hash(path) {
        Ok(content) => content,
        Err(why) => {
            let trouble = cowpath_import::Unreadable::Io { why };
            return Ok(Err(Unread::Trouble(trouble.to_string(), trouble.remedy())));
        }
    };
    let source = Source {
        file: coming.file(),
        content,
        // Each table of the file has a batch of its own.
        table: cowpath_core::tables::TABLES[0],
        zone: reading.zone.iana_name().unwrap_or("UTC").to_owned(),
        map: MAP.into(),
        now: reading.now,
        columns: Vec::new(),
    };
    let herd = herd(store)?;
    let (to_keeper, parcels) = sync_channel::<Parcel>(16);
    std::thread::scope(|scope| {
        let reader = scope.spawn(move || {
            let mut sink = Bundler { to_keeper, bundle: Vec::with_capacity(IN_BUNDLE) };
            let answer =
                ade::read_file(path, reading, herd, &mut sink, &mut |progress| watch(path, progress));
            answer.and_then(|counts| sink.send().map(|()| counts).map_err(ReadError::Sink))
        });
        let mut issues = Issues::default();
        let mut said: Vec<Issue> = Vec::new();
        // Lines of the last resource that could be used and of the last that could not.
        let mut last = [0, 0];
        let mut delivery = store.deliver(&source, columns)?;
        for parcel in parcels {
            match parcel {
                Parcel::Alias(scheme, id, number) => delivery.alias(&scheme, &id, &number)?,
                Parcel::Documents(documents) => {
                    for document in documents {
                        last[0] = last[0].max(document.line);
                        keep(&mut delivery, document, &mut issues)?;
                    }
                }
                Parcel::Issue(table, issue) if issue.kind == IssueKind::RowRefused => {
                    last[1] = last[1].max(issue.line.unwrap_or_default());
                    delivery.refuse(table, &take_in::refusal(&issue))?;
                    issues.add(issue);
                }
                Parcel::Issue(_, issue) => said.push(issue),
            }
        }
        let read: Result<Counts, ReadError<KeeperStopped>> = match reader.join() {
            Ok(read) => read,
            Err(panic) => std::panic::resume_unwind(panic),
        };
        match read {
            Ok(_) if !coming.is_steady() || (coming.may_grow && last[0] < last[1]) => Ok(Err(Unread::Moving)),
            Ok(_) => {
                if let Some(visits) = table("visits") {
                    delivery.cannot_say(visits, ade::CANNOT_SAY);
                }
                for issue in said {
                    delivery.remark(&take_in::remark(&issue))?;
                    issues.add(issue);
                }
                let delivered = delivery.finish()?;
                let bytes = print_of(path).map_or(0, |(bytes, _)| bytes);
                for table in &delivered {
                    store.note_way(table.finished.batch, coming.way, bytes)?;
                }
                Ok(Ok((counted(&delivered), told(delivered, issues))))
            }
            // Dropping the delivery takes back whatever of the file was written.
            Err(ReadError::File(trouble)) => Ok(Err(Unread::Trouble(trouble.to_string(), trouble.remedy()))),
            Err(ReadError::Sink(stopped)) => Err(stopped.into()),
        }
    })
}

/// The cows on record.
fn herd(store: &Farm) -> anyhow::Result<Herd> {
    let mut herd = Herd::default();
    for number in store.numbers()? {
        herd.add_number(&number);
    }
    let mut numbers = BTreeMap::new();
    for row in store.animal_rows()? {
        if let Some(official) = row.official_id {
            herd.add_official(&row.animal, &official);
            numbers.insert(official, row.animal);
        }
    }
    for ((scheme, id), number) in store.aliases()? {
        // A cow that was read under her official number before the herd list named her.
        herd.add_alias(&scheme, &id, numbers.get(&number).unwrap_or(&number));
    }
    Ok(herd)
}

/// Columns that the standard can fill. A row says nothing of the others.
fn columns(table: &'static Table) -> Vec<usize> {
    let silent = |name: &str| match table.name {
        "visits" => {
            name == "attached_at"
                || name.starts_with("feed_")
                || name.ends_with("_kicked")
                || name.ends_with("_takeoff_kg_min")
        }
        "animals" => matches!(name, "pen" | "sire" | "dam"),
        _ => false,
    };
    (0..table.columns.len()).filter(|place| !silent(table.columns[*place].name)).collect()
}

fn keep(delivery: &mut Delivery<'_>, document: Document, issues: &mut Issues) -> anyhow::Result<()> {
    let origin = document.origin.map(|origin| Origin {
        source: origin.source,
        id: origin.id,
        modified: origin.modified,
        deleted: origin.deleted,
    });
    if let Some(meal) = document.meal {
        let meal = Meal {
            animal: meal.animal,
            started_at: meal.started_at,
            ended_at: meal.ended_at,
            place: meal.place,
            offered_kg: meal.offered_kg,
            eaten_kg: meal.eaten_kg,
            raw: document.raw,
        };
        return Ok(delivery.meal(document.line, origin.as_ref(), &meal)?);
    }
    let Some(own) = table(document.table) else { return Ok(()) };
    let rows: Vec<_> =
        document.rows.into_iter().filter_map(|(name, cells)| Some((table(name)?, cells))).collect();
    let sent = Sent { line: document.line, origin: origin.as_ref(), table: own, rows: &rows };
    for became in delivery.take_of(&sent, document.formerly.as_deref())? {
        if let Disposition::Refused(refusal) = became {
            issues.add(take_in::told(refusal));
        }
    }
    Ok(())
}

/// One entry for the file: its tables, and the sums of all of them.
fn counted(delivered: &[Delivered]) -> TakenFile {
    let mut names: Vec<&str> = delivered.iter().map(|one| one.table.name).collect();
    names.sort_unstable();
    names.dedup();
    let mut file = TakenFile {
        table: (!names.is_empty()).then(|| names.join(",")),
        form: Some("ade"),
        ..TakenFile::default()
    };
    for sums in delivered.iter().map(|one| &one.finished.sums) {
        file.read += sums.read;
        file.new += sums.new;
        file.same += sums.same;
        file.replaced += sums.replaced;
        file.quarantined += sums.quarantined;
    }
    file
}

fn told(delivered: Vec<Delivered>, mut issues: Issues) -> Issues {
    for one in delivered {
        for refusal in one.refused {
            issues.add(take_in::told(refusal));
        }
        for set_aside in one.finished.displaced.into_iter().filter(|set_aside| set_aside.read_now) {
            issues.add(take_in::set_aside(set_aside.row));
        }
    }
    issues
}
