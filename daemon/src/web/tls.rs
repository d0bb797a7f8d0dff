//! TLS for the pages, on request: a certificate of our own, kept in a folder, told apart by its fingerprint.
//!
//! Phones give the wake lock and vibration to sealed pages alone. No authority signs for a laptop in a hall, so the phone
//! asks once; whoever accepts compares the fingerprint with the one on the terminal.

use super::files::hex;
use anyhow::Context;
use rcgen::{CertificateParams, DnType, KeyPair};
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use std::net::IpAddr;
use std::path::Path;
use std::sync::Arc;
use tokio_rustls::TlsAcceptor;

/// Names of the files in the folder.
const CERTIFICATE: &str = "pages.cert.pem";
const KEY: &str = "pages.key.pem";

/// What the pages are sealed with.
pub struct Seal {
    /// Makes sealed connections.
    pub acceptor: TlsAcceptor,
    /// SHA-256 of the certificate, in pairs of hexadecimal digits.
    pub fingerprint: String,
}

/// The certificate in `folder`, made there for these addresses if there is none.
///
/// Errors: a folder that cannot be read or written, a file that holds no certificate or key; with its path.
pub fn seal(folder: &Path, addresses: &[IpAddr]) -> anyhow::Result<Seal> {
    let (certificate_file, key_file) = (folder.join(CERTIFICATE), folder.join(KEY));
    if !certificate_file.exists() || !key_file.exists() {
        make(folder, addresses).with_context(|| format!("a certificate in {}", folder.display()))?;
    }
    let certificate = CertificateDer::from_pem_file(&certificate_file).with_context(|| certificate_file.display().to_string())?;
    let key = PrivateKeyDer::from_pem_file(&key_file).with_context(|| key_file.display().to_string())?;
    let fingerprint = fingerprint(&certificate);
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = rustls::ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()?
        .with_no_client_auth()
        .with_single_cert(vec![certificate], key)
        .with_context(|| format!("{} and {}", certificate_file.display(), key_file.display()))?;
    Ok(Seal { acceptor: TlsAcceptor::from(Arc::new(config)), fingerprint })
}

fn make(folder: &Path, addresses: &[IpAddr]) -> anyhow::Result<()> {
    let mut names: Vec<String> = addresses.iter().map(IpAddr::to_string).collect();
    names.push("localhost".into());
    let mut parameters = CertificateParams::new(names)?;
    parameters.distinguished_name.push(DnType::CommonName, "raisewatch pages");
    let key = KeyPair::generate()?;
    let certificate = parameters.self_signed(&key)?;
    std::fs::create_dir_all(folder)?;
    write_for_owner(&folder.join(KEY), &key.serialize_pem())?;
    std::fs::write(folder.join(CERTIFICATE), certificate.pem())?;
    Ok(())
}

/// Writes a file that only its owner may read.
fn write_for_owner(file: &Path, text: &str) -> std::io::Result<()> {
    use std::io::Write;
    use std::os::unix::fs::OpenOptionsExt;
    let mut opened = std::fs::File::options().write(true).create(true).truncate(true).mode(0o600).open(file)?;
    opened.write_all(text.as_bytes())
}

fn fingerprint(certificate: &CertificateDer<'_>) -> String {
    let sum = ring::digest::digest(&ring::digest::SHA256, certificate);
    sum.as_ref().iter().map(|byte| hex(&[*byte]).to_ascii_uppercase()).collect::<Vec<_>>().join(":")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn a_certificate_is_made_once_and_kept_for_its_owner() {
        let folder = tempfile::tempdir().unwrap();
        let at = folder.path().join("tls");
        let first = seal(&at, &["10.0.0.5".parse().unwrap()]).unwrap();
        assert_eq!(first.fingerprint.len(), 32 * 3 - 1);
        assert_eq!(seal(&at, &[]).unwrap().fingerprint, first.fingerprint);
        let mode = std::fs::metadata(at.join(KEY)).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
    }

    #[test]
    fn a_file_that_is_no_certificate_is_named() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join(CERTIFICATE), "nothing").unwrap();
        std::fs::write(folder.path().join(KEY), "nothing").unwrap();
        let fault = seal(folder.path(), &[]).err().map(|fault| format!("{fault:#}")).unwrap();
        assert!(fault.contains(CERTIFICATE), "{fault}");
    }
}
