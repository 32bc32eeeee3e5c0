// What this browser keeps until the server has confirmed it: entries that were sent or could not be
// sent, and recordings. One database; every write is done when its promise is.

const NAME = "crowlight";
const STORES = { entries: { keyPath: "uuid" }, takes: { keyPath: "uuid" }, blocks: { keyPath: ["take", "number"] } };

let opened = null;

function open() {
  opened ??= new Promise((done, fail) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      for (const [name, options] of Object.entries(STORES)) asked.result.createObjectStore(name, options);
    };
    asked.onsuccess = () => {
      asked.result.onclose = () => { opened = null; };
      done(asked.result);
    };
    asked.onerror = () => { opened = null; fail(asked.error); };
  });
  return opened;
}

async function act(store, mode, work, durability = "default") {
  const database = await open();
  return new Promise((done, fail) => {
    const transaction = database.transaction(store, mode, { durability });
    const asked = work(transaction.objectStore(store));
    transaction.oncomplete = () => done(asked?.result);
    transaction.onerror = transaction.onabort = () => fail(transaction.error);
  });
}

export const put = (store, value) => act(store, "readwrite", (s) => s.put(value), "strict");
export const putFast = (store, value) => act(store, "readwrite", (s) => s.put(value), "relaxed");
export const get = (store, key) => act(store, "readonly", (s) => s.get(key));
export const all = (store, range) => act(store, "readonly", (s) => s.getAll(range));
export const count = (store, range) => act(store, "readonly", (s) => s.count(range));
export const remove = (store, key) => act(store, "readwrite", (s) => s.delete(key), "strict");

// The blocks of a take, from one number up to and without another.
export const blocksOf = (take, from = 0, to = Infinity) =>
  IDBKeyRange.bound([take, from], [take, to], false, true);

export function newUuid() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const b = crypto.getRandomValues(new Uint8Array(16)); // pages that are not trusted have no other
  b[6] = (b[6] & 0x0f) | 0x40;
  b[8] = (b[8] & 0x3f) | 0x80;
  const hex = [...b].map((v) => v.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

// One tab at a time does a work that others may begin as well; null if another is at it.
export function alone(name, work, { wait = true } = {}) {
  if (!navigator.locks) return work();
  return navigator.locks.request(name, { ifAvailable: !wait }, (lock) => (lock ? work() : null));
}
