// A few lines of a runner: tests in order, each with its time limit; the last line is "N passed, N failed".
const tests = [];
const timeout_ms = 40_000;

export function test(name, body) {
  tests.push({ name, body });
}

// How many failed; running nothing is a failure too.
export async function run(only) {
  let passed = 0;
  const failures = [];
  for (const { name, body } of tests) {
    if (only !== undefined && !name.includes(only)) continue;
    const from = Date.now();
    try {
      await within(timeout_ms, body());
      ++passed;
      console.log(`ok      ${name} (${Date.now() - from} ms)`);
    } catch (why) {
      if (why instanceof Skipped) {
        console.log(`left    ${name}: ${why.message}`);
        continue;
      }
      failures.push(name);
      console.log(`FAILED  ${name} (${Date.now() - from} ms)\n${String(why?.stack ?? why).replace(/^/gm, '    ')}`);
    }
  }
  if (passed + failures.length === 0) failures.push('nothing was run');
  console.log(`${passed} passed, ${failures.length} failed`);
  return failures.length;
}

function within(ms, promise) {
  let timer;
  const late = new Promise((_, reject) => {
    timer = setTimeout(() => reject(new Error(`not done after ${ms} ms`)), ms);
  });
  return Promise.race([promise, late]).finally(() => clearTimeout(timer));
}

/** Thrown where the gateway itself says that it cannot do yet what is tested; counted neither way. */
export class Skipped extends Error {}

export function expect(holds, what) {
  if (!holds) throw new Error(what);
}

export function same(found, wanted, what) {
  const [a, b] = [JSON.stringify(found), JSON.stringify(wanted)];
  if (a !== b) throw new Error(`${what}: ${a}, and ${b} was wanted`);
}

// Until it holds; its last answer or error tells why it never did.
export async function eventually(what, holds, ms = 10_000) {
  const end = Date.now() + ms;
  let last;
  for (;;) {
    try {
      last = await holds();
      if (last) return last;
    } catch (why) {
      last = why;
    }
    if (Date.now() > end) throw new Error(`${what}: not within ${ms} ms; last: ${String(last?.message ?? last)}`);
    await new Promise((done) => setTimeout(done, 50));
  }
}
