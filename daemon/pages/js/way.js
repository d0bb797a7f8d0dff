// Ways to the monitor: a socket of its own for each tab, or, where something between lets no socket through, the events
// that the same address sends without one. Both tell (name, json) and say when they have ended.

/** on: {told(name, json), ended(opened)} -> closes it. */
export function bySocket(path, on) {
  const socket = new WebSocket(location.origin.replace(/^http/, "ws") + path);
  let opened = false;
  socket.onopen = () => { opened = true; };
  // Each message is a name, a line feed, and its JSON.
  socket.onmessage = ({ data }) => { const text = String(data), cut = text.indexOf("\n"); on.told(text.slice(0, cut), text.slice(cut + 1)); };
  socket.onclose = () => on.ended(opened);
  return () => { socket.onmessage = socket.onclose = null; socket.close(); };
}

const TOLD = ["view", "call", "not-watching"];

export function byEvents(path, on) {
  const events = new EventSource(path);
  let opened = false;
  events.onopen = () => { opened = true; };
  for (const name of TOLD) events.addEventListener(name, ({ data }) => on.told(name, data));
  // It would try again by itself, and with it what lay in its buffers: the page opens a new one instead.
  events.onerror = () => { events.close(); on.ended(opened); };
  return () => events.close();
}

/** Which way to try next. A socket first; events now and then until one of them has worked, and then that one. Events
 *  come second because all tabs of a browser share six connections for them. Pure. */
export class Ways {
  #worked = null; #tries = 0;
  get tries() { return this.#tries; }
  /** -> bySocket or byEvents. */
  next() {
    const other = this.#tries % 3 === 2;
    if (this.#worked === bySocket) return bySocket;
    return other === (this.#worked === byEvents) ? bySocket : byEvents;
  }
  failed() { this.#tries += 1; }
  works(way) { this.#worked = way; this.#tries = 0; }
}
