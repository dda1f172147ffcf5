// The worker: the engine, and the store it keeps a session in. It is told {engine} once, then {id, name, args}; it tells
// {ready}, {word}, {id, text} and {died}. wasm_exec.js and store.js stand before this.
'use strict';
self.trueturnHost = {
  // show decodes a picture that Go does not, HEIC, where the browser can: upright, and its luma (ITU-R BT.601) as it is coded.
  show: async bytes => {
    const bitmap = await createImageBitmap(new Blob([bytes], { type: 'image/heic' }), { colorSpaceConversion: 'none' });
    const { width, height } = bitmap;
    const canvas = new OffscreenCanvas(width, height), pen = canvas.getContext('2d', { willReadFrequently: true });
    pen.drawImage(bitmap, 0, 0);
    bitmap.close();
    const luma = new Uint8Array(width * height), rows = 256;
    for (let y = 0; y < height; y += rows) {
      const { data } = pen.getImageData(0, y, width, Math.min(rows, height - y));
      for (let i = 0, at = y * width; i < data.length; i += 4) luma[at++] = Math.round(0.299 * data[i] + 0.587 * data[i + 1] + 0.114 * data[i + 2]);
    }
    return { width, height, luma };
  },
  word: text => postMessage({ word: text }),
  answer: (id, text) => postMessage({ id, text }),
  ready: call => {
    self.trueturnHost.call = call;
    postMessage({ ready: true, kept: self.trueturnHost.store.kept });
  },
};

async function engine(bytes, imports) {
  if (bytes) return WebAssembly.instantiate(bytes, imports);
  try {
    return await WebAssembly.instantiateStreaming(fetch('engine.wasm'), imports);
  } catch { // a host that does not say what the file is
    return WebAssembly.instantiate(await (await fetch('engine.wasm')).arrayBuffer(), imports);
  }
}

async function begin(bytes) {
  try {
    self.trueturnHost.store = await openTrueturnStore();
    const go = new Go();
    const { instance } = await engine(bytes, go.importObject);
    self.trueturnHost.memory = () => instance.exports.mem.buffer.byteLength;
    await go.run(instance);
    postMessage({ died: 'the engine has ended' });
  } catch (why) {
    postMessage({ died: String(why && why.message || why) });
  }
}

onmessage = e => {
  if ('begin' in e.data) begin(e.data.engine);
  else if (e.data.bytes) self.trueturnHost.store.add(e.data.picture, e.data.bytes).then(() => self.trueturnHost.call(e.data.id, 'offer', JSON.stringify(e.data.picture)));
  else if (e.data.name === 'memory') postMessage({ id: e.data.id, text: JSON.stringify({ bytes: self.trueturnHost.memory() }) });
  else self.trueturnHost.call(e.data.id, e.data.name, JSON.stringify(e.data.args));
};
