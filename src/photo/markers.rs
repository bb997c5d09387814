//! The marker segments in front of a JPEG file's picture data.

/// One marker segment: its second byte, where its body begins in the file, and the body.
pub(super) struct Segment<'a> {
    pub marker: u8,
    pub at: usize,
    pub body: &'a [u8],
}

/// Marker of a table of quantisation steps.
pub(super) const DQT: u8 = 0xDB;
/// Marker of Huffman tables.
pub(super) const DHT: u8 = 0xC4;
/// Marker of the distance between restarts.
pub(super) const DRI: u8 = 0xDD;
/// Marker of a scan's header; the scan's data follow it.
pub(super) const SOS: u8 = 0xDA;
/// Markers of the frame header of sequential (C0, C1) and progressive (C2) files with Huffman codes.
pub(super) const SOF: std::ops::RangeInclusive<u8> = 0xC0..=0xC2;

/// What makes a file one of the kinds that hardly any program writes, if it is one.
///
/// Source: T.81, table B.1, and B.2.2 and B.2.5 for the height that may stand behind the first scan.
pub(super) fn rare_kind(bytes: &[u8]) -> Option<&'static str> {
    let kind = segments(bytes).find_map(|Segment { marker, body, .. }| match (marker, body) {
        (0xC9..=0xCB | 0xCD..=0xCF, _) => Some("arithmetic codes"),
        (0xC3 | 0xC5..=0xC7, _) => Some("lossless or layered"),
        (0xC0..=0xC2, [bits, ..]) if *bits != 8 => Some("more than 8 bits"),
        (0xC0..=0xC2, [_, 0, 0, ..]) => Some("its height stands behind the picture"),
        _ => None,
    });
    kind.or_else(|| is_apart(bytes).then_some("its colours stand one after the other"))
}

/// True for a sequential file whose components stand one after the other and are not as fine as one another down the picture:
/// the library reads such files wrongly.
fn is_apart(bytes: &[u8]) -> bool {
    let find = |of: std::ops::RangeInclusive<u8>| segments(bytes).find(|s| of.contains(&s.marker)).map(|s| s.body);
    let (Some([_, _, _, _, _, count, components @ ..]), Some([scanned, ..])) = (find(0xC0..=0xC1), find(SOS..=SOS))
    else {
        return false;
    };
    // Each component: its name, its blocks across and down in a unit, its steps.
    scanned < count && components.chunks(3).any(|component| component.get(1).is_some_and(|blocks| blocks & 15 > 1))
}

/// True for a progressive file of which the scans that are there do not make up the whole of its first component, or of which the
/// last has no end, as where it was cut short.
///
/// Source: T.81, G.1.1.1 (bands of coefficients, and their bits from the highest down).
pub(super) fn lacks_scans(bytes: &[u8]) -> bool {
    let Some(frame) = segments(bytes).find(|s| s.marker == 0xC2) else { return false };
    let Some(&name) = frame.body.get(6) else { return true };
    // Lowest bit of each coefficient that a scan brought.
    let mut lowest = [u8::MAX; 64];
    let mut rest = bytes;
    while let Some(scan) = segments(rest).find(|s| s.marker == SOS) {
        let (named, band) = scan.body.split_at(scan.body.len().saturating_sub(3));
        if let &[first, last, bits] = band
            && named.iter().skip(1).step_by(2).any(|&n| n == name)
            && let Some(brought) = lowest.get_mut(first.into()..=last.into())
        {
            brought.fill(bits & 15);
        }
        // To the next marker that is no restart and no data; the iterator passes two bytes before the first.
        let data = &rest[scan.at + scan.body.len()..];
        let is_marker = |two: &[u8]| two[0] == 0xFF && !matches!(two[1], 0 | 0xFF | 0xD0..=0xD7);
        let Some(next) = data.windows(2).position(is_marker) else { return true };
        rest = &rest[scan.at + scan.body.len() + next - 2..];
    }
    lowest != [0; 64]
}

/// What stands in front of a JPEG file's picture data; any other file as a whole.
pub(super) fn front(bytes: &[u8]) -> &[u8] {
    segments(bytes).find(|s| s.marker == SOS).map_or(bytes, |scan| &bytes[..scan.at + scan.body.len()])
}

/// The segments of a file up to the header of its first scan, or to where they are no longer in order.
///
/// Source: ITU-T T.81, annex B.
pub(super) fn segments(bytes: &[u8]) -> impl Iterator<Item = Segment<'_>> {
    let mut next = Some(2);
    std::iter::from_fn(move || {
        let at = next.take()? + 4;
        let &[0xFF, marker, high, low] = bytes.get(at - 4..at)? else { return None };
        let end = at - 2 + usize::from(u16::from_be_bytes([high, low]));
        let body = bytes.get(at..end)?;
        next = (marker != SOS).then_some(end);
        Some(Segment { marker, at, body })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn segment(marker: u8, body: &[u8]) -> Vec<u8> {
        [&[0xFF, marker], &(body.len() as u16 + 2).to_be_bytes()[..], body].concat()
    }

    /// A scan of the components with these names, with a few bytes of data.
    fn scan(names: &[u8], band: [u8; 3]) -> Vec<u8> {
        let named = names.iter().flat_map(|&name| [name, 0]);
        let body: Vec<u8> = [names.len() as u8].into_iter().chain(named).chain(band).collect();
        [segment(SOS, &body), vec![0x12, 0xFF, 0, 0x34, 0xFF, 0xD0, 0x56]].concat()
    }

    fn file(frame: u8, blocks: u8, scans: &[Vec<u8>]) -> Vec<u8> {
        let frame = segment(frame, &[8, 0, 16, 0, 16, 3, 1, blocks, 0, 2, 0x11, 1, 3, 0x11, 1]);
        [&[0xFF, 0xD8][..], &frame, &scans.concat(), &[0xFF, 0xD9]].concat()
    }

    #[test]
    fn components_apart_are_told_where_they_differ_down_the_picture() {
        let whole = [0, 63, 0];
        let apart = [scan(&[1], whole), scan(&[2], whole), scan(&[3], whole)];
        assert!(is_apart(&file(0xC0, 0x22, &apart)));
        assert!(is_apart(&file(0xC1, 0x12, &apart)));
        assert!(!is_apart(&file(0xC0, 0x21, &apart)));
        assert!(!is_apart(&file(0xC0, 0x22, &[scan(&[1, 2, 3], whole)])));
        assert!(!is_apart(&file(0xC2, 0x22, &apart)), "progressive files are always so");
    }

    #[test]
    fn a_progressive_file_needs_all_scans_of_its_first_component() {
        let all = [
            scan(&[1, 2, 3], [0, 0, 1]),
            scan(&[1], [1, 5, 2]),
            scan(&[3], [1, 63, 1]),
            scan(&[1], [6, 63, 2]),
            scan(&[1], [1, 63, 0x21]),
            scan(&[1, 2, 3], [0, 0, 0x10]),
            scan(&[1], [1, 63, 0x10]),
        ];
        assert!(!lacks_scans(&file(0xC2, 0x22, &all)));
        for missing in 1..all.len() {
            assert!(lacks_scans(&file(0xC2, 0x22, &all[..missing])), "{missing} scans");
        }
        assert!(!lacks_scans(&file(0xC0, 0x22, &all[..1])), "sequential");
        let whole = file(0xC2, 0x22, &all);
        assert!(lacks_scans(&whole[..whole.len() - 3]), "cut within the last scan");
    }
}
