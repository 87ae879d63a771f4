import assert from "node:assert/strict";
import { test } from "node:test";
import { Pairing, readKey } from "../src/pairing.ts";

function drawer(): Pick<Storage, "getItem" | "setItem" | "removeItem"> {
  const items = new Map<string, string>();
  return {
    getItem: (item) => items.get(item) ?? null,
    setItem: (item, value) => void items.set(item, value),
    removeItem: (item) => void items.delete(item),
  };
}

function opened(hash: string, store: ReturnType<typeof drawer> | null) {
  const shown: string[] = [];
  const past = { replaceState: (_: unknown, __: string, url?: string | URL | null) => void shown.push(String(url)) };
  return { pairing: new Pairing({ hash, pathname: "/", search: "?a=1" }, past, store), shown };
}

test("the key is taken from the fragment, kept, and no longer shown in the address", () => {
  const store = drawer();
  const { pairing, shown } = opened("#key=abc-DEF_1", store);
  assert.equal(pairing.key, "abc-DEF_1");
  assert.deepEqual(shown, ["/?a=1"]);
  assert.equal(opened("", store).pairing.key, "abc-DEF_1");
  assert.deepEqual(opened("", store).shown, []);
});

test("a new code replaces the kept key; a forgotten key is gone", () => {
  const store = drawer();
  opened("#key=old", store);
  const { pairing } = opened("#key=new", store);
  assert.equal(pairing.key, "new");
  pairing.key = null;
  assert.equal(opened("", store).pairing.key, null);
});

test("a browser that keeps nothing, or throws, still drives", () => {
  assert.equal(opened("#key=k", null).pairing.key, "k");
  const broken = {
    getItem: () => {
      throw new Error("denied");
    },
    setItem: () => {
      throw new Error("full");
    },
    removeItem: () => {},
  };
  assert.equal(opened("#key=k", broken).pairing.key, "k");
  assert.equal(opened("", broken).pairing.key, null);
});

test("a key may be typed bare or pasted with its address", () => {
  assert.equal(readKey("  abc123 "), "abc123");
  assert.equal(readKey("http://10.0.0.5:8080/#key=abc123"), "abc123");
  assert.equal(readKey("#key=a%2Bb"), "a+b");
});

test("what is no key is not taken for one", () => {
  for (const text of ["", "   ", "two words", "http://10.0.0.5:8080/", "#key=", "#key=%E0%A4%A", "x".repeat(129)]) {
    assert.equal(readKey(text), null, text);
  }
});

test("names are trimmed to what the hub takes", () => {
  const { pairing } = opened("", drawer());
  pairing.name = `  ${"n".repeat(60)} `;
  assert.equal(pairing.name.length, 40);
});
