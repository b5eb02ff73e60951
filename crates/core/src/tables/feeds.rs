//! `feeds`: what each feed holds and costs.

use super::{Table, Unit, anything, figure, text, words};

pub(super) const FEEDS: Table = Table {
    name: "feeds",
    row_is: "one feed",
    key: &["feed"],
    tells: &["feed", "dm_pct"],
    agrees: anything,
    columns: &[
        text("feed", true, "Name of the feed."),
        figure("dm_pct", Unit::Percent, 0.0, 100.0, "Dry matter of the feed as fed."),
        figure("nel_mcal_kg_dm", Unit::McalPerKg, 0.0, 10.0, "Net energy for lactation."),
        figure("cp_pct_dm", Unit::Percent, 0.0, 300.0, "Crude protein; urea holds 281 %."),
        figure("ndf_pct_dm", Unit::Percent, 0.0, 100.0, "Neutral detergent fibre."),
        figure("forage_ndf_pct_dm", Unit::Percent, 0.0, 100.0, "Neutral detergent fibre from forage."),
        figure("starch_pct_dm", Unit::Percent, 0.0, 100.0, "Starch."),
        figure("fat_pct_dm", Unit::Percent, 0.0, 100.0, "Fat."),
        figure("price_per_t", Unit::MoneyPerTonne, 0.0, 1e6, "Price of a tonne as fed, in the farm's money."),
        words("kind", false, &["forage", "concentrate", "mineral"], "What kind of feed."),
        figure("max_kg_dm", Unit::Kilograms, 0.0, 50.0, "Most a cow may get a day, kg of dry matter."),
    ],
};
