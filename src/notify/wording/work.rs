//! The cautions in full, for screens and pages. All of it common practice, no source.

/// The cautions that go with every word on treatments.
pub const CAUTIONS: [&str; 5] = [
    "The label is the law: product, rate, timing, watering in, protective gear and re-entry are what it says. hatchbell names active ingredients and times, never doses.",
    "Local rules decide what may be used and by whom; neonicotinoids (imidacloprid, clothianidin, thiamethoxam), trichlorfon and carbaryl are restricted or forbidden in many places, and a licensed applicator may be required.",
    "Never treat turf in bloom: mow clover and weeds first, keep off bees. Carbaryl and neonicotinoids are very toxic to them.",
    "Keep off water, drains, slopes that run to water, and hard surfaces; not before heavy rain or on saturated soil.",
    "Keep children and pets off until it is watered in and dry, or longer if the label says so.",
];
