//! A drawing as a picture for mails, which know neither names of colours nor fonts of their own: light,
//! with letters that are built in.

use super::SeasonDrawing;
use crate::report::season_picture::SeasonPicture;
use askama::Template;
use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb::Database};
use std::sync::{Arc, LazyLock};

/// Pixels for each unit of the drawing, so that it is sharp on a phone.
const PIXELS: f32 = 2.0;

/// The letters, and what they are called.
const FONT: &[u8] = include_bytes!("font/dejavu-sans.ttf");
const FAMILY: &str = "DejaVu Sans";

/// The colours of the page in light.
const STYLE: &str = include_str!("mail.css");

static FONTS: LazyLock<Arc<Database>> = LazyLock::new(|| {
    let mut fonts = Database::new();
    fonts.load_font_data(FONT.to_vec());
    fonts.set_sans_serif_family(FAMILY);
    Arc::new(fonts)
});

/// Why there is no picture.
#[derive(Debug, thiserror::Error)]
pub enum NoPicture {
    /// The drawing has a fault.
    #[error("it cannot be drawn: {0}")]
    Drawing(#[from] askama::Error),
    /// It is no SVG.
    #[error("it cannot be read: {0}")]
    Svg(#[from] resvg::usvg::Error),
    /// It has no size.
    #[error("it has no size")]
    Size,
    /// It cannot be packed.
    #[error("it cannot be packed: {0}")]
    Png(String),
}

/// A season as a PNG.
///
/// # Errors
/// [`NoPicture`] if the program has made a mistake.
pub fn season_png(picture: &SeasonPicture) -> Result<Vec<u8>, NoPicture> {
    let svg = SeasonDrawing::of(picture).render()?;
    let pixels = pixels(&svg)?;
    pixels
        .encode_png()
        .map_err(|error| NoPicture::Png(error.to_string()))
}

fn pixels(svg: &str) -> Result<Pixmap, NoPicture> {
    let svg = svg.replacen('>', &format!("><style>{STYLE}</style>"), 1);
    let options = Options {
        fontdb: Arc::clone(&FONTS),
        font_family: FAMILY.to_owned(),
        ..Options::default()
    };
    let tree = Tree::from_str(&svg, &options)?;
    let size = tree
        .size()
        .to_int_size()
        .scale_by(PIXELS)
        .ok_or(NoPicture::Size)?;
    let mut pixels = Pixmap::new(size.width(), size.height()).ok_or(NoPicture::Size)?;
    pixels.fill(Color::from_rgba8(0xfb, 0xf8, 0xf1, 0xff));
    let scale = Transform::from_scale(PIXELS, PIXELS);
    resvg::render(&tree, scale, &mut pixels.as_mut());
    Ok(pixels)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dark_pixels(words: &str) -> usize {
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 200 40\">\
             <text class=\"layer-name\" x=\"4\" y=\"20\">{words}</text></svg>"
        );
        let pixels = pixels(&svg).expect("a picture");
        let is_dark = |one: &&resvg::tiny_skia::PremultipliedColorU8| one.red() < 0x80;
        pixels.pixels().iter().filter(is_dark).count()
    }

    #[test]
    fn words_in_a_picture_have_pixels() {
        assert_eq!(dark_pixels(""), 0);
        let few = dark_pixels("egg lay");
        assert!(few > 100, "{few}");
        // Every sign that words of drawings may hold, none as an empty box.
        for sign in ["ü", "°", "±", "–", "≥", "→", "…"] {
            assert!(dark_pixels(sign) > 3, "{sign}");
            assert_ne!(dark_pixels(sign), dark_pixels("\u{3042}"), "{sign}");
        }
    }
}
