// Checked decoding: what comes over the wire is unknown until each member has been looked at.
//
// A decoder throws Misread with the path of the member (JSON Pointer) and what would be right; wire/http.ts turns that into an
// answer. Members that are not known are passed over.

export class Misread extends Error {
  constructor(readonly where: string, readonly wanted: string) {
    super(`${where === '' ? 'the answer' : where}: ${wanted} was expected`);
  }
}

export type Decoder<T> = (value: unknown, where: string) => T;
export type Decoded<D> = D extends Decoder<infer T> ? T : never;

export const text: Decoder<string> = (value, where) => {
  if (typeof value !== 'string') throw new Misread(where, 'a text');
  return value;
};

export const number: Decoder<number> = (value, where) => {
  if (typeof value !== 'number' || !Number.isFinite(value)) throw new Misread(where, 'a number');
  return value;
};

export const flag: Decoder<boolean> = (value, where) => {
  if (typeof value !== 'boolean') throw new Misread(where, 'true or false');
  return value;
};

export function maybe<T>(inner: Decoder<T>): Decoder<T | null> {
  return (value, where) => (value === null ? null : inner(value, where));
}

/** A member that older gateways do not send. */
export function optional<T>(inner: Decoder<T>, otherwise: T): Decoder<T> {
  return (value, where) => (value === undefined ? otherwise : inner(value, where));
}

export function list<T>(inner: Decoder<T>): Decoder<readonly T[]> {
  return (value, where) => {
    if (!Array.isArray(value)) throw new Misread(where, 'a list');
    return value.map((item: unknown, i) => inner(item, `${where}/${i}`));
  };
}

/** A list of numbers or nulls, the bulk of what comes: checked in place, not copied. */
export const figures: Decoder<readonly (number | null)[]> = (value, where) => {
  if (!Array.isArray(value)) throw new Misread(where, 'a list');
  for (let i = 0; i < value.length; ++i) {
    const item: unknown = value[i];
    if (item !== null && typeof item !== 'number') throw new Misread(`${where}/${i}`, 'a number or null');
  }
  return value as readonly (number | null)[];
};

export const numbers: Decoder<readonly number[]> = (value, where) => {
  if (!Array.isArray(value)) throw new Misread(where, 'a list');
  for (let i = 0; i < value.length; ++i) if (typeof value[i] !== 'number') throw new Misread(`${where}/${i}`, 'a number');
  return value as readonly number[];
};

type Shape = Readonly<Record<string, Decoder<unknown>>>;
type Made<S extends Shape> = { readonly [K in keyof S]: Decoded<S[K]> };

export function record<S extends Shape>(shape: S): Decoder<Made<S>> {
  const members = Object.entries(shape);
  return (value, where) => {
    if (typeof value !== 'object' || value === null || Array.isArray(value)) throw new Misread(where, 'an object');
    const from = value as Readonly<Record<string, unknown>>;
    const made: Record<string, unknown> = {};
    for (const [name, inner] of members) made[name] = inner(from[name], `${where}/${name}`);
    return made as Made<S>;
  };
}

export function one_of<const T extends readonly string[]>(known: T): Decoder<T[number]> {
  return (value, where) => {
    const found = known.find((k) => k === value);
    if (found === undefined) throw new Misread(where, `one of ${known.join(', ')}`);
    return found;
  };
}
