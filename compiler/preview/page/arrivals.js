// What the page fetches of a state of the files: only parts that it does not have yet.

/** The parts of one state after the other, from below an address that ends with a slash. */
export class Arrivals {
  constructor(address) {
    this.address = address;
    this.parts = new Map();
    this.names = new Map();
  }

  /**
   * A state that was told: its document, and what a view is made of. `changed`: the names of arrays and pictures that
   * are not those of the state before. Null where the server has a newer state by now.
   */
  async state({ shown: number, script }) {
    const ran = this.modules(script);
    const [page, told] = await Promise.all([this.fetched(`page/${number}`), this.fetched(`record/${number}`)]);
    if (!page || !told) return null;
    const [text, { record, parts }] = await Promise.all([page.text(), told.json()]);
    const [held, generated] = await Promise.all([this.held(parts), ran]);
    if (!held || !generated) return null;
    const names = new Map(parts.map(([name, digest]) => [name, digest]));
    const changed = new Set(parts.filter(([name, digest]) => this.names.get(name) !== digest).map(([name]) => name));
    Object.assign(this, { parts: held, names });
    const bytes = joined(parts, held), block = { reached: async () => bytes };
    return { document: new DOMParser().parseFromString(text, "text/html"), record, bytes, block, generated, changed };
  }

  /** An answer; null where there is no such thing any more. */
  async fetched(path) {
    const answer = await fetch(this.address + path, { cache: "no-store" });
    return answer.ok ? answer : null;
  }

  /** All parts of a list by digest: those that are here already, and those that are not. */
  async held(list) {
    const digests = [...new Set(list.map(([, digest]) => digest))];
    const found = await Promise.all(digests.map(async (digest) => {
      if (this.parts.has(digest)) return this.parts.get(digest);
      const answer = await this.fetched(`part/${digest}`);
      return answer && new Uint8Array(await answer.arrayBuffer());
    }));
    return found.every(Boolean) ? new Map(digests.map((digest, place) => [digest, found[place]])) : null;
  }

  /** The functions of the character's own modules. A script that has run is forgotten; a module would stay for good. */
  modules(script) {
    if (this.script === script) return this.generated;
    return new Promise((done) => {
      const element = document.createElement("script");
      const ended = (generated) => {
        delete globalThis.arrivedModules;
        element.remove();
        if (generated) Object.assign(this, { script, generated });
        done(generated);
      };
      element.addEventListener("load", () => ended(globalThis.arrivedModules));
      element.addEventListener("error", () => ended(null));
      element.src = `${this.address}script/${script}`;
      document.head.append(element);
    });
  }
}

/** The parts one after the other, as the places in the record count them. */
function joined(list, held) {
  const block = new Uint8Array(list.reduce((sum, [, , size]) => sum + size, 0));
  let at = 0;
  for (const [, digest, size] of list) {
    block.set(held.get(digest), at);
    at += size;
  }
  return block;
}
