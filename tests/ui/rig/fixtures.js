// The contract with the panel: written by its tests, read by these.

import { readFileSync } from "node:fs";

const FOLDER = new URL("../../fixtures/messages/", import.meta.url);

export const fixture = (name) => JSON.parse(readFileSync(new URL(`${name}.json`, FOLDER), "utf8"));
export const text = (name) => JSON.stringify(fixture(name));
