// The socket that tells: connects, checks the numbering, and comes back by itself. What it says
// is handed on in order and at once.

import { decode, follows } from "./decode.js";

/** Waits between two tries to connect, ms. */
const TRY_AGAIN_MS = [100, 250, 500, 1000];

/**
 * @param {string} path
 * @param {{ told: (message: any) => void, trouble: (why: string) => void }} on
 * @param {AbortSignal} [signal]
 */
export function listen(path, on, signal) {
  let tries = 0;
  let waiting = 0;

  function again() {
    if (signal?.aborted) return;
    const wait = TRY_AGAIN_MS[Math.min(tries, TRY_AGAIN_MS.length - 1)];
    tries += 1;
    clearTimeout(waiting);
    waiting = setTimeout(connect, wait);
  }

  function connect() {
    const address = location.origin.replace(/^http/, "ws") + path;
    const socket = new WebSocket(address);
    let before = null;
    let over = false;
    const leave = (why) => {
      if (over) return;
      over = true;
      if (why) on.trouble(why);
      socket.close();
      again();
    };
    socket.onmessage = ({ data }) => {
      if (over) return;
      const { ok, message, why } = decode(data);
      if (!ok) {
        leave(why);
      } else if (!follows(before, message)) {
        leave(`message ${message.n} came after ${before}`);
      } else {
        tries = 0;
        before = message.kind === "dropped" ? null : message.n;
        on.told(message);
      }
    };
    socket.onclose = () => leave("the panel has closed the line");
    socket.onerror = () => leave("the panel does not answer");
    signal?.addEventListener("abort", () => {
      over = true;
      clearTimeout(waiting);
      socket.close();
    });
  }

  connect();
}
