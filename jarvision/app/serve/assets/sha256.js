"use strict";
// SHA-256 (FIPS 180-4): the browser's own is kept from pages without https, as in a home's network.
// eslint-disable-next-line no-unused-vars
const sha256 = (() => {
  const primes = [];
  for (let n = 2; primes.length < 64; n++) if (primes.every((p) => n % p)) primes.push(n);
  const bits = (root) => ((root - Math.floor(root)) * 4294967296) | 0;
  const K = Int32Array.from(primes, (p) => bits(Math.cbrt(p)));
  const START = Int32Array.from(primes.slice(0, 8), (p) => bits(Math.sqrt(p)));
  const W = new Int32Array(64);

  const block = (H, view, at) => {
    for (let i = 0; i < 16; i++) W[i] = view.getInt32(at + 4 * i);
    for (let i = 16; i < 64; i++) {
      const x = W[i - 15], y = W[i - 2];
      const s0 = ((x >>> 7) | (x << 25)) ^ ((x >>> 18) | (x << 14)) ^ (x >>> 3);
      const s1 = ((y >>> 17) | (y << 15)) ^ ((y >>> 19) | (y << 13)) ^ (y >>> 10);
      W[i] = (W[i - 16] + s0 + W[i - 7] + s1) | 0;
    }
    let a = H[0], b = H[1], c = H[2], d = H[3], e = H[4], f = H[5], g = H[6], h = H[7];
    for (let i = 0; i < 64; i++) {
      const S1 = ((e >>> 6) | (e << 26)) ^ ((e >>> 11) | (e << 21)) ^ ((e >>> 25) | (e << 7));
      const t1 = (h + S1 + ((e & f) ^ (~e & g)) + K[i] + W[i]) | 0;
      const S0 = ((a >>> 2) | (a << 30)) ^ ((a >>> 13) | (a << 19)) ^ ((a >>> 22) | (a << 10));
      const t2 = (S0 + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      h = g; g = f; f = e; e = (d + t1) | 0; d = c; c = b; b = a; a = (t1 + t2) | 0;
    }
    H[0] += a; H[1] += b; H[2] += c; H[3] += d; H[4] += e; H[5] += f; H[6] += g; H[7] += h;
  };

  return (buffer) => {
    const H = START.slice(), whole = buffer.byteLength - (buffer.byteLength % 64);
    const view = new DataView(buffer);
    for (let at = 0; at < whole; at += 64) block(H, view, at);
    const rest = buffer.byteLength - whole;
    const end = new Uint8Array(rest < 56 ? 64 : 128);
    end.set(new Uint8Array(buffer, whole));
    end[rest] = 0x80;
    const last = new DataView(end.buffer);
    last.setUint32(end.length - 8, Math.floor(buffer.byteLength / 536870912));
    last.setUint32(end.length - 4, (buffer.byteLength << 3) >>> 0);
    for (let at = 0; at < end.length; at += 64) block(H, last, at);
    return Array.from(H, (word) => (word >>> 0).toString(16).padStart(8, "0")).join("");
  };
})();
