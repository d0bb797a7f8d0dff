//! Takes connections and speaks HTTP/1.1 on them, plain or under TLS, with a bound on how many and on how slow they may be.

use super::{Guest, Limits};
use axum::{Extension, Router};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, watch};
use tokio_rustls::TlsAcceptor;

/// Bytes that may lie between us and a phone. Small, so that what a slow phone shows is at most a second old: frames that
/// it cannot take are dropped here, not queued in the kernel.
const SEND_BUFFER: usize = 16 * 1024;
/// How long open requests are waited for at the end.
const GRACE: Duration = Duration::from_millis(500);

/// Serves `app` until `stop` becomes true.
pub async fn serve(listener: TcpListener, tls: Option<TlsAcceptor>, app: Router, limits: Limits, mut stop: watch::Receiver<bool>) {
    let room = Arc::new(Semaphore::new(limits.connections));
    let mut talks = tokio::task::JoinSet::new();
    loop {
        tokio::select! {
            accepted = listener.accept() => match accepted {
                Ok((tcp, peer)) => match room.clone().try_acquire_owned() {
                    Ok(place) => {
                        // The place is free again once the connection has ended and the socket that it may have become.
                        let guest = Guest { from: peer.ip(), _place: Arc::new(place) };
                        talks.spawn(meet(tcp, peer, tls.clone(), app.clone().layer(Extension(guest)), limits, stop.clone()));
                    }
                    Err(_) => tracing::warn!(%peer, limits.connections, "too many connections; this one is closed"),
                },
                Err(fault) => {
                    // Out of file handles, mostly: a pause lets some be freed.
                    tracing::warn!(%fault, "a connection could not be taken");
                    tokio::time::sleep(Duration::from_millis(50)).await;
                }
            },
            Some(_) = talks.join_next() => {}
            () = stopped(&mut stop) => break,
        }
    }
    let all_ended = async { while talks.join_next().await.is_some() {} };
    let _ = tokio::time::timeout(GRACE, all_ended).await;
}

async fn meet(tcp: TcpStream, peer: SocketAddr, tls: Option<TlsAcceptor>, app: Router, limits: Limits, stop: watch::Receiver<bool>) {
    let _ = tcp.set_nodelay(true);
    let _ = socket2::SockRef::from(&tcp).set_send_buffer_size(SEND_BUFFER);
    match tls {
        None => talk(tcp, peer, app, limits, stop).await,
        // One that does not finish its handshake holds up nobody but itself.
        Some(tls) => match tokio::time::timeout(limits.patience, tls.accept(tcp)).await {
            Ok(Ok(sealed)) => talk(sealed, peer, app, limits, stop).await,
            Ok(Err(fault)) => tracing::debug!(%peer, %fault, "no TLS was agreed on"),
            Err(_) => tracing::debug!(%peer, "the TLS handshake took too long"),
        },
    }
}

async fn talk<Io>(io: Io, peer: SocketAddr, app: Router, limits: Limits, mut stop: watch::Receiver<bool>)
where
    Io: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let mut connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(limits.patience)
        .max_buf_size(64 * 1024)
        .serve_connection(TokioIo::new(io), TowerToHyperService::new(app))
        .with_upgrades();
    let ended = tokio::select! {
        ended = &mut connection => ended,
        () = stopped(&mut stop) => {
            Pin::new(&mut connection).graceful_shutdown();
            let _ = tokio::time::timeout(GRACE, connection).await;
            return;
        }
    };
    match ended {
        Ok(()) => {}
        Err(fault) if fault.is_timeout() => {
            if let Some(parts) = connection.into_parts() {
                too_slow(parts.io.into_inner()).await;
            }
        }
        Err(fault) => tracing::debug!(%peer, %fault, "a connection ended"),
    }
}

/// The answer to a client whose request never came whole.
async fn too_slow(mut io: impl AsyncWrite + Unpin) {
    let answer = b"HTTP/1.1 408 Request Timeout\r\nContent-Length: 31\r\nConnection: close\r\n\r\nThe request came too slowly.\r\n\n";
    let _ = tokio::time::timeout(GRACE, io.write_all(answer)).await;
}

/// Waits until the program is to stop.
pub async fn stopped(stop: &mut watch::Receiver<bool>) {
    // The sender being gone means the same.
    let _ = stop.wait_for(|stop| *stop).await;
}
