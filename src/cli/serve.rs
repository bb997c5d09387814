use std::io::Write;
use std::net::IpAddr;
use std::path::PathBuf;

use super::Failure;
use crate::web::{self, Lan, Options};

#[derive(clap::Args)]
#[command(after_help = "An example:  lightsieve serve --lan\n\
                        Only this machine can open the page. With --lan, phones in the same network can send photos once they \
                        have scanned a code; nothing is ever sent anywhere else.")]
pub(super) struct Args {
    /// Port of the page on this machine; 0 for any free one
    #[arg(long, value_name = "N", default_value_t = 7310)]
    port: u16,
    /// Folder in which photos and results are kept; it is made where it does not exist
    #[arg(long, value_name = "DIR", default_value = "lightsieve-work")]
    folder: PathBuf,
    /// Let phones in the network send photos; with an address, under that one
    #[arg(long, value_name = "ADDRESS", num_args = 0..=1, require_equals = true)]
    lan: Option<Option<IpAddr>>,
}

pub(super) fn run(args: &Args) -> Result<(), Failure> {
    let lan = args.lan.map(|address| address.map_or(Lan::Found, Lan::At));
    let options = Options { port: args.port, folder: args.folder.clone(), lan };
    let mut say = |text: &str| {
        let mut out = std::io::stdout().lock();
        out.write_all(text.as_bytes())?;
        out.flush()
    };
    Ok(web::serve(&options, &mut say)?)
}
