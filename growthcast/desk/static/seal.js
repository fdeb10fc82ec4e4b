// SHA-256 (FIPS 180-4) and HMAC (RFC 2104): browsers keep their own from pages on plain http.
"use strict";
const seal = (() => {
  const primes = [];
  for (let n = 2; primes.length < 64; n++) if (primes.every((p) => n % p)) primes.push(n);
  const part = (x) => ((x % 1) * 2 ** 32) | 0;
  const K = primes.map((p) => part(Math.cbrt(p)));
  const START = primes.slice(0, 8).map((p) => part(Math.sqrt(p)));
  const turn = (x, n) => (x >>> n) | (x << (32 - n));

  function sha256(bytes) {
    const blocks = ((bytes.length + 8) >> 6) + 1;
    const padded = new Uint8Array(blocks * 64);
    padded.set(bytes);
    padded[bytes.length] = 0x80;
    const view = new DataView(padded.buffer);
    view.setUint32(padded.length - 8, Math.floor(bytes.length / 2 ** 29));
    view.setUint32(padded.length - 4, bytes.length << 3);
    const hash = START.slice();
    const w = new Int32Array(64);
    for (let at = 0; at < padded.length; at += 64) {
      for (let i = 0; i < 64; i++) {
        if (i < 16) { w[i] = view.getInt32(at + 4 * i); continue; }
        const a = w[i - 15], b = w[i - 2];
        w[i] = w[i - 16] + w[i - 7] + (turn(a, 7) ^ turn(a, 18) ^ (a >>> 3)) + (turn(b, 17) ^ turn(b, 19) ^ (b >>> 10));
      }
      let [a, b, c, d, e, f, g, h] = hash;
      for (let i = 0; i < 64; i++) {
        const one = (h + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + ((e & f) ^ (~e & g)) + K[i] + w[i]) | 0;
        const two = ((turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
        [h, g, f, e, d, c, b, a] = [g, f, e, (d + one) | 0, c, b, a, (one + two) | 0];
      }
      [a, b, c, d, e, f, g, h].forEach((x, i) => { hash[i] = (hash[i] + x) | 0; });
    }
    const out = new DataView(new ArrayBuffer(32));
    hash.forEach((x, i) => out.setInt32(4 * i, x));
    return new Uint8Array(out.buffer);
  }

  const bytes = (text) => new TextEncoder().encode(text);
  const hex = (data) => Array.from(data, (b) => b.toString(16).padStart(2, "0")).join("");
  const unhex = (text) => Uint8Array.from(text.match(/../g) || [], (b) => parseInt(b, 16));
  const joined = (a, b) => { const all = new Uint8Array(a.length + b.length); all.set(a); all.set(b, a.length); return all; };

  function hmac(key, text) {
    const block = new Uint8Array(64);
    block.set(key.length > 64 ? sha256(key) : key);
    const inner = sha256(joined(block.map((b) => b ^ 0x36), bytes(text)));
    return sha256(joined(block.map((b) => b ^ 0x5c), inner));
  }
  return {
    random: (n) => hex(crypto.getRandomValues(new Uint8Array(n))),
    name: (key) => hex(sha256(unhex(key))).slice(0, 16),
    of: (key, ...parts) => hex(hmac(unhex(key), parts.join("\n"))),
  };
})();
