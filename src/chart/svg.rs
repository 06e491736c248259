//! A drawing as SVG. Colours are presentation attributes, which the classes of
//! [`super::stylesheet`] overrule, so that the file reads alone and follows a page's light and
//! dark; there is no style attribute and no script, so that a strict content security policy
//! holds. `textLength` keeps each text to the width that was kept free for it, in any font.

use std::fmt::Write as _;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use image::ImageEncoder as _;

use super::drawing::{Anchor, Bounds, Drawing, Point, Shape, Stroke, Text};
use super::lettering::Weight;
use super::tone::{Tone, hex};

const FAMILY: &str = "Inter, system-ui, sans-serif";

impl Drawing {
    #[must_use]
    pub fn to_svg(&self) -> String {
        let (width, height) = (number(self.width), number(self.height));
        let mut out = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
             width=\"{width}\" height=\"{height}\" role=\"img\" font-family=\"{FAMILY}\">\n\
             <title>{}</title>\n<desc>{}</desc>\n",
            escaped(&self.title),
            escaped(&self.description),
        );
        let page = Bounds::new(0.0, 0.0, self.width, self.height);
        shape(&mut out, &Shape::fill(&page, Tone::Paper));
        for one in &self.shapes {
            shape(&mut out, one);
        }
        out.push_str("</svg>\n");
        out
    }
}

fn shape(out: &mut String, one: &Shape) {
    // Writing into a string cannot fail.
    let _ = match one {
        Shape::Line { points, stroke } => writeln!(
            out,
            "<polyline points=\"{}\" class=\"s-{}\" fill=\"none\"{}/>",
            places(points),
            stroke.tone.name(),
            edge(Some(stroke))
        ),
        Shape::Area { points, fill, edge: line } => {
            let (class, paint) = (classes(*fill, line.as_ref()), painted(*fill));
            let rim = edge(line.as_ref());
            writeln!(out, "<polygon points=\"{}\"{class}{paint}{rim}/>", places(points))
        }
        Shape::Circle { centre, radius, fill, edge: line } => writeln!(
            out,
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\"{}{}{}/>",
            number(centre.x),
            number(centre.y),
            number(*radius),
            classes(*fill, line.as_ref()),
            painted(*fill),
            edge(line.as_ref())
        ),
        Shape::Text(words) => text(out, words),
        Shape::Picture { bounds, picture } => picture_element(out, bounds, picture),
        Shape::Group { name, offset, shapes } => {
            let label = if name.is_empty() {
                String::new()
            } else {
                format!(" data-part=\"{}\"", escaped(name))
            };
            let moved = if *offset == Point::default() {
                String::new()
            } else {
                format!(" transform=\"translate({} {})\"", number(offset.x), number(offset.y))
            };
            let start = writeln!(out, "<g{label}{moved}>");
            for inner in shapes {
                shape(out, inner);
            }
            start.and_then(|()| writeln!(out, "</g>"))
        }
    };
}

fn text(out: &mut String, words: &Text) -> std::fmt::Result {
    let anchor = match words.anchor {
        Anchor::Start => "",
        Anchor::Middle => " text-anchor=\"middle\"",
        Anchor::End => " text-anchor=\"end\"",
    };
    let weight = match words.weight {
        Weight::Medium => "500",
        Weight::Bold => "700",
    };
    writeln!(
        out,
        "<text x=\"{}\" y=\"{}\"{anchor} font-size=\"{}\" font-weight=\"{weight}\" \
         class=\"f-{}\" fill=\"{}\" textLength=\"{}\" lengthAdjust=\"spacingAndGlyphs\">{}</text>",
        number(words.at.x),
        number(words.at.y),
        number(words.size),
        words.tone.name(),
        hex(words.tone.light()),
        number(words.width),
        escaped(&words.content)
    )
}

fn picture_element(
    out: &mut String,
    bounds: &Bounds,
    picture: &image::RgbImage,
) -> std::fmt::Result {
    let mut jpeg = Vec::new();
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, 85);
    let (width, height) = picture.dimensions();
    if encoder.write_image(picture, width, height, image::ExtendedColorType::Rgb8).is_err() {
        return Ok(());
    }
    writeln!(
        out,
        "<image x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" preserveAspectRatio=\"none\" \
         href=\"data:image/jpeg;base64,{}\"/>",
        number(bounds.left),
        number(bounds.top),
        number(bounds.width()),
        number(bounds.height()),
        STANDARD.encode(&jpeg)
    )
}

fn classes(fill: Option<(Tone, f64)>, edge: Option<&Stroke>) -> String {
    let fill = fill.map(|(tone, _)| format!("f-{}", tone.name()));
    let edge = edge.map(|stroke| format!("s-{}", stroke.tone.name()));
    let both: Vec<String> = fill.into_iter().chain(edge).collect();
    if both.is_empty() { String::new() } else { format!(" class=\"{}\"", both.join(" ")) }
}

fn painted(fill: Option<(Tone, f64)>) -> String {
    match fill {
        None => " fill=\"none\"".to_owned(),
        Some((tone, opacity)) if opacity >= 1.0 => format!(" fill=\"{}\"", hex(tone.light())),
        Some((tone, opacity)) => {
            format!(" fill=\"{}\" fill-opacity=\"{}\"", hex(tone.light()), number(opacity))
        }
    }
}

fn edge(stroke: Option<&Stroke>) -> String {
    let Some(stroke) = stroke else { return String::new() };
    let dash = if stroke.dashed {
        let [on, off] = stroke.dash();
        format!(" stroke-dasharray=\"{} {}\"", number(on), number(off))
    } else {
        String::new()
    };
    format!(
        " stroke=\"{}\" stroke-width=\"{}\" stroke-linejoin=\"round\"{dash}",
        hex(stroke.tone.light()),
        number(stroke.width)
    )
}

fn places(points: &[Point]) -> String {
    let each: Vec<String> =
        points.iter().map(|p| format!("{},{}", number(p.x), number(p.y))).collect();
    each.join(" ")
}

/// Two decimals at most, no minus zero.
fn number(value: f64) -> String {
    let text = format!("{value:.2}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" { "0".to_owned() } else { short.to_owned() }
}

fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // XML knows no other control characters.
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_cannot_break_out_of_the_file() {
        assert_eq!(escaped("<b>\"&'\u{1}"), "&lt;b&gt;&quot;&amp;&#39; ");
        let drawing = Drawing {
            width: 10.0,
            height: 10.0,
            title: "</title><script>".to_owned(),
            description: String::new(),
            shapes: vec![],
        };
        let svg = drawing.to_svg();
        assert!(!svg.contains("<script") && !svg.contains("style="));
    }

    #[test]
    fn numbers_are_short() {
        assert_eq!([number(1.5), number(-0.001), number(20.0)], ["1.5", "0", "20"]);
    }
}
