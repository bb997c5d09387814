//! HEIC through the system's libheif, opened at run time: nothing is linked, and where the library is absent the
//! error says how to get a JPEG. This is the one module with `unsafe`.
//!
//! libheif turns the picture upright itself, so the EXIF orientation is not applied again.

use std::ffi::{c_char, c_int, c_void};

use libloading::{Library, Symbol};

use super::PhotoError;

/// `heif_error`, passed by value.
#[repr(C)]
#[derive(Clone, Copy)]
struct HeifError {
    code: c_int,
    subcode: c_int,
    message: *const c_char,
}

const COLORSPACE_YCBCR: c_int = 0;
const CHROMA_420: c_int = 1;
const CHANNEL_Y: c_int = 0;

type Handle = *mut c_void;
type SizeCheck = fn(usize, usize) -> Result<(), PhotoError>;

/// Frees what libheif handed out, also on early return.
struct Owned<'lib> {
    handle: Handle,
    free: Symbol<'lib, unsafe extern "C" fn(Handle)>,
}

impl Drop for Owned<'_> {
    fn drop(&mut self) {
        // SAFETY: `handle` came from the allocator that `free` belongs to and is released once.
        unsafe { (self.free)(self.handle) }
    }
}

fn refused(why: impl std::fmt::Display) -> PhotoError {
    PhotoError::Heic { why: why.to_string() }
}

/// Width, height and the 8-bit luminance plane of the primary picture.
pub(super) fn luma(bytes: &[u8], check_size: SizeCheck) -> Result<(usize, usize, Vec<u8>), PhotoError> {
    // SAFETY: libheif's C interface, stable since version 1.3; signatures as in its header `libheif/heif.h`. Every
    // pointer handed over lives until the call returns (`bytes` until the context is freed), every one received is
    // checked for null and freed by `Owned`.
    unsafe {
        let library = ["libheif.so.1", "libheif.1.dylib", "libheif.dll", "heif.dll"]
            .iter()
            .find_map(|name| Library::new(name).ok())
            .ok_or_else(|| refused("the library libheif is not installed on this computer"))?;
        let symbol = |_| refused("the installed libheif lacks a function");
        let alloc: Symbol<unsafe extern "C" fn() -> Handle> = library.get(b"heif_context_alloc").map_err(symbol)?;
        let read: Symbol<unsafe extern "C" fn(Handle, *const c_void, usize, *const c_void) -> HeifError> =
            library.get(b"heif_context_read_from_memory_without_copy").map_err(symbol)?;
        let primary: Symbol<unsafe extern "C" fn(Handle, *mut Handle) -> HeifError> =
            library.get(b"heif_context_get_primary_image_handle").map_err(symbol)?;
        let decode: Symbol<unsafe extern "C" fn(Handle, *mut Handle, c_int, c_int, *const c_void) -> HeifError> =
            library.get(b"heif_decode_image").map_err(symbol)?;
        let plane: Symbol<unsafe extern "C" fn(Handle, c_int, *mut c_int) -> *const u8> =
            library.get(b"heif_image_get_plane_readonly").map_err(symbol)?;
        let width: Symbol<unsafe extern "C" fn(Handle, c_int) -> c_int> =
            library.get(b"heif_image_get_width").map_err(symbol)?;
        let height: Symbol<unsafe extern "C" fn(Handle, c_int) -> c_int> =
            library.get(b"heif_image_get_height").map_err(symbol)?;
        let depth: Symbol<unsafe extern "C" fn(Handle, c_int) -> c_int> =
            library.get(b"heif_image_get_bits_per_pixel_range").map_err(symbol)?;
        let handle_width: Symbol<unsafe extern "C" fn(Handle) -> c_int> =
            library.get(b"heif_image_handle_get_width").map_err(symbol)?;
        let handle_height: Symbol<unsafe extern "C" fn(Handle) -> c_int> =
            library.get(b"heif_image_handle_get_height").map_err(symbol)?;

        let own = |handle: Handle, free: &[u8]| -> Result<Owned<'_>, PhotoError> {
            if handle.is_null() {
                return Err(refused("libheif could not open it"));
            }
            Ok(Owned { handle, free: library.get(free).map_err(symbol)? })
        };
        let done = |error: HeifError| {
            let why = || format!("libheif cannot open it (error {}.{})", error.code, error.subcode);
            if error.code == 0 { Ok(()) } else { Err(refused(why())) }
        };

        let context = own(alloc(), b"heif_context_free")?;
        done(read(context.handle, bytes.as_ptr().cast(), bytes.len(), std::ptr::null()))?;
        let mut raw = std::ptr::null_mut();
        done(primary(context.handle, &mut raw))?;
        let handle = own(raw, b"heif_image_handle_release")?;
        check_size(handle_width(handle.handle).max(0) as usize, handle_height(handle.handle).max(0) as usize)?;
        let mut raw = std::ptr::null_mut();
        done(decode(handle.handle, &mut raw, COLORSPACE_YCBCR, CHROMA_420, std::ptr::null()))?;
        let image = own(raw, b"heif_image_release")?;
        if depth(image.handle, CHANNEL_Y) != 8 {
            return Err(PhotoError::Colour { what: "HEIC with more than 8 bits".into() });
        }
        let (w, h) = (width(image.handle, CHANNEL_Y).max(0) as usize, height(image.handle, CHANNEL_Y).max(0) as usize);
        check_size(w, h)?;
        let mut stride = 0;
        let start = plane(image.handle, CHANNEL_Y, &mut stride);
        if start.is_null() || (stride as usize) < w {
            return Err(refused("libheif gave no luminance"));
        }
        let mut codes = Vec::with_capacity(w * h);
        for y in 0..h {
            codes.extend_from_slice(std::slice::from_raw_parts(start.add(y * stride as usize), w));
        }
        Ok((w, h, codes))
    }
}
