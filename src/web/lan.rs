//! The door for phones: the address in the network, the key in the QR code, and who has used it.

use std::collections::HashSet;
use std::net::{IpAddr, SocketAddr, UdpSocket};
use std::sync::{Mutex, PoisonError};

use qrcode::render::{svg, unicode};
use qrcode::{EcLevel, QrCode};

use super::{Lan, Refusal, WebError};

/// Phones let in until the next start.
const MOST_PHONES: usize = 32;

/// Address and keys of the door for phones.
pub(super) struct Keys {
    address: SocketAddr,
    inner: Mutex<Inner>,
}

struct Inner {
    /// Lets one phone in, and is then replaced.
    key: String,
    /// What the phones that were let in carry in their cookie.
    phones: HashSet<String>,
}

impl Keys {
    pub fn new(address: SocketAddr) -> Result<Self, WebError> {
        Ok(Keys { address, inner: Mutex::new(Inner { key: secret()?, phones: HashSet::new() }) })
    }

    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// The address that lets one phone in. The key stands behind `#`, which no browser sends or passes on.
    pub fn link(&self) -> String {
        format!("http://{}/#{}", self.address, self.locked().key)
    }

    /// The link as a picture.
    pub fn qr_svg(&self) -> Result<String, Refusal> {
        let code = code(&self.link()).map_err(Refusal::broken)?;
        Ok(code.render::<svg::Color<'_>>().min_dimensions(220, 220).build())
    }

    /// The link as lines of text for the terminal.
    pub fn qr_text(&self) -> String {
        let drawn = |code: QrCode| code.render::<unicode::Dense1x2>().build();
        code(&self.link()).map(drawn).unwrap_or_default()
    }

    /// Lets a phone in that has the key, and gives what its cookie holds. The key is spent then.
    pub fn let_in(&self, key: &str) -> Result<String, Refusal> {
        let mut inner = self.locked();
        if !same(&inner.key, key) {
            return Err(Refusal::forbidden(
                "This code was used before or is not of this server. Scan the one that the page shows now.",
            ));
        }
        if inner.phones.len() >= MOST_PHONES {
            return Err(Refusal::full("Too many phones were let in. Start the server anew.".to_owned()));
        }
        let fresh = || secret().map_err(|e| Refusal::broken(e.to_string()));
        let (phone, key) = (fresh()?, fresh()?);
        inner.phones.insert(phone.clone());
        inner.key = key;
        Ok(phone)
    }

    /// True for what a phone carries that was let in.
    pub fn knows(&self, phone: &str) -> bool {
        self.locked().phones.contains(phone)
    }

    fn locked(&self) -> std::sync::MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn code(link: &str) -> Result<QrCode, String> {
    QrCode::with_error_correction_level(link, EcLevel::M).map_err(|e| e.to_string())
}

/// 128 random bits of the system, in letters of an address.
fn secret() -> Result<String, WebError> {
    let mut bytes = [0u8; 16];
    getrandom::fill(&mut bytes).map_err(|e| WebError::System(std::io::Error::other(e.to_string())))?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}

/// Compares all of both, so that the time tells nothing of where they differ.
fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |off, (x, y)| off | (x ^ y)) == 0
}

/// The address asked for, or the one through which the network is reached.
pub(super) fn address(wanted: Lan) -> Result<IpAddr, WebError> {
    match wanted {
        Lan::At(address) => Ok(address),
        Lan::Found => {
            // Choosing the way to an address reserved for documentation (RFC 5737) sends nothing.
            let way = UdpSocket::bind("0.0.0.0:0").and_then(|s| s.connect("192.0.2.1:9").and_then(|()| s.local_addr()));
            let own = way.map(|a| a.ip()).map_err(|_| WebError::NoNetwork)?;
            if own.is_loopback() || own.is_unspecified() { Err(WebError::NoNetwork) } else { Ok(own) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_lets_one_phone_in() {
        let keys = Keys::new("192.0.2.7:80".parse().unwrap()).unwrap();
        let link = keys.link();
        let key = link.split_once('#').unwrap().1.to_owned();
        assert!(keys.let_in("").is_err() && keys.let_in(&key[1..]).is_err());
        let phone = keys.let_in(&key).unwrap();
        assert!(keys.knows(&phone) && !keys.knows(&key) && !keys.knows(""));
        assert!(keys.let_in(&key).is_err(), "the key is spent");
        assert_ne!(keys.link(), link);
        assert!(keys.qr_svg().unwrap().contains("<svg") && keys.qr_text().lines().count() > 10);
    }
}
