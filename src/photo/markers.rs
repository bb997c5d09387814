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
    segments(bytes).find_map(|Segment { marker, body, .. }| match (marker, body) {
        (0xC9..=0xCB | 0xCD..=0xCF, _) => Some("arithmetic codes"),
        (0xC3 | 0xC5..=0xC7, _) => Some("lossless or layered"),
        (0xC0..=0xC2, [bits, ..]) if *bits != 8 => Some("more than 8 bits"),
        (0xC0..=0xC2, [_, 0, 0, ..]) => Some("its height stands behind the picture"),
        _ => None,
    })
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
