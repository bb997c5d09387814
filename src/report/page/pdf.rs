use miniz_oxide::deflate::compress_to_vec_zlib;
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, TextStr};

use super::Page;

/// Points to a mm.
const PT: f64 = 72.0 / 25.4;

/// The page as PDF in its true size, with the wish that the viewer does not scale it.
pub fn pdf(page: &Page) -> Vec<u8> {
    let [w, h] = page.size;
    // To a thousandth of a point, 0.4 µm.
    let points = |mm: f64| ((1000.0 * PT * mm).round() / 1000.0) as f32;
    let at = |p: [f64; 2]| [points(p[0]), points(h - p[1])];
    let mut content = Content::new();
    for shape in &page.shapes {
        content.set_fill_gray(if shape.is_white() { 1.0 } else { 0.0 });
        for outline in shape.outlines() {
            let [x, y] = at(outline[0][0]);
            content.move_to(x, y);
            for [a, b, c, d] in outline {
                let [[bx, by], [cx, cy], [dx, dy]] = [at(b), at(c), at(d)];
                if a == b && c == d {
                    content.line_to(dx, dy);
                } else {
                    content.cubic_to(bx, by, cx, cy, dx, dy);
                }
            }
            content.close_path();
        }
        content.fill_nonzero();
    }
    let [catalog, tree, leaf, stream, info] = [1, 2, 3, 4, 5].map(Ref::new);
    let mut pdf = Pdf::new();
    let mut root = pdf.catalog(catalog);
    root.pages(tree);
    root.viewer_preferences().pair(Name(b"PrintScaling"), Name(b"None"));
    root.finish();
    pdf.document_info(info).title(TextStr("lightsieve scale sheet"));
    pdf.pages(tree).kids([leaf]).count(1);
    pdf.page(leaf)
        .parent(tree)
        .media_box(Rect::new(0.0, 0.0, (w * PT) as f32, (h * PT) as f32))
        .contents(stream)
        .resources();
    pdf.stream(stream, &compress_to_vec_zlib(&content.finish(), 9)).filter(Filter::FlateDecode);
    pdf.finish()
}
