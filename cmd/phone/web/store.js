// The session's store in a browser: lines that grow, values, pictures that wait. IndexedDB where there is one, else memory.
// The page and the worker each open it.
'use strict';
self.openTrueturnStore = async () => {
  const rooms = ['lines', 'values', 'pictures', 'bytes'];

  const opened = () => new Promise((resolve, reject) => {
    const asked = indexedDB.open('trueturn', 1);
    asked.onupgradeneeded = () => { for (const room of rooms) asked.result.createObjectStore(room); };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
    asked.onblocked = () => reject(new Error('another tab holds it'));
  });

  // within does some work in one transaction, which is on the disk when the promise is kept.
  function within(db, names, mode, work) {
    return new Promise((resolve, reject) => {
      const t = db.transaction(names, mode, { durability: 'strict' });
      let result;
      const keep = request => { request.onsuccess = () => { result = request.result; }; };
      t.oncomplete = () => resolve(result);
      t.onerror = t.onabort = () => reject(t.error || new Error('the browser broke it off'));
      work(...names.map(n => t.objectStore(n)), keep);
    });
  }

  const joined = (at, length, chunks) => { // [offset, bytes] in their order
    const out = new Uint8Array(length);
    let end = 0;
    for (const [offset, bytes] of chunks) {
      const from = Math.max(at, offset), to = Math.min(at + length, offset + bytes.length);
      if (from >= to) continue;
      out.set(bytes.subarray(from - offset, to - offset), from - at);
      end = Math.max(end, to - at);
    }
    return out.subarray(0, end);
  };

  function inDatabase(db) {
    // before is the chunk that begins at or before an offset.
    const before = (lines, at, then) => {
      const cursor = lines.openCursor(IDBKeyRange.upperBound(at), 'prev');
      cursor.onsuccess = () => then(cursor.result ? [cursor.result.key, cursor.result.value] : null);
    };
    return {
      kept: true,
      read: (at, length) => {
        const chunks = [];
        return within(db, ['lines'], 'readonly', lines => before(lines, at, first => {
          if (first) chunks.push(first);
          const cursor = lines.openCursor(IDBKeyRange.bound(at, at + length, true, true));
          cursor.onsuccess = () => {
            if (!cursor.result) return;
            chunks.push([cursor.result.key, cursor.result.value]);
            cursor.result.continue();
          };
        })).then(() => joined(at, length, chunks));
      },
      write: (at, bytes) => within(db, ['lines'], 'readwrite', lines => { lines.put(bytes, at); }),
      cut: size => within(db, ['lines'], 'readwrite', lines => before(lines, size - 1, last => {
        lines.delete(IDBKeyRange.lowerBound(size));
        if (last && last[0] + last[1].length > size) lines.put(last[1].slice(0, size - last[0]), last[0]);
      })),
      get: name => within(db, ['values'], 'readonly', (values, keep) => keep(values.get(name))),
      put: (name, bytes) => within(db, ['values'], 'readwrite', values => { values.put(bytes, name); }),
      list: () => within(db, ['pictures'], 'readonly', (pictures, keep) => keep(pictures.getAll())),
      add: (picture, bytes) => within(db, ['pictures', 'bytes'], 'readwrite', (pictures, all) => { pictures.put(picture, picture.key); all.put(bytes, picture.key); }),
      open: key => within(db, ['bytes'], 'readonly', (all, keep) => keep(all.get(key))),
      drop: key => within(db, ['pictures', 'bytes'], 'readwrite', (pictures, all) => { pictures.delete(key); all.delete(key); }),
    };
  }

  function inMemory() {
    const values = new Map(), pictures = new Map(), bytesOf = new Map();
    let lines = [];
    return {
      kept: false,
      read: async (at, length) => joined(at, length, lines),
      write: async (at, bytes) => { lines.push([at, bytes]); },
      cut: async size => { lines = lines.filter(([at]) => at < size).map(([at, b]) => [at, b.subarray(0, size - at)]); },
      get: async name => values.get(name),
      put: async (name, bytes) => { values.set(name, bytes); },
      list: async () => [...pictures.values()],
      add: async (picture, bytes) => { pictures.set(picture.key, picture); bytesOf.set(picture.key, bytes); },
      open: async key => bytesOf.get(key),
      drop: async key => { pictures.delete(key); bytesOf.delete(key); },
    };
  }

  try {
    return inDatabase(await opened());
  } catch (why) {
    if (why && why.message === 'another tab holds it') throw why;
    return inMemory(); // an opaque origin, a private window
  }
};
