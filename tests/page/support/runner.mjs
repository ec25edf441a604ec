// A few lines of a runner: tests of a lane in order, lanes beside each other; the last line is "N passed, N failed".
const lanes = new Map();
let lane_now = '';
const timeout_ms = 60_000;

/** What is told from here on belongs to this lane: it must share no plant with another that it stops or counts. */
export function lane(name) {
  lane_now = name;
  if (!lanes.has(name)) lanes.set(name, []);
}

export function test(name, body) {
  lanes.get(lane_now).push({ name, body });
}

// How many failed; running nothing is a failure too.
export async function run(only) {
  const sum = { passed: 0, failed: 0 };
  await Promise.all([...lanes.values()].map(async (tests) => {
    for (const one of tests) if (only === undefined || one.name.includes(only)) await run_one(one, sum);
  }));
  if (sum.passed + sum.failed === 0) sum.failed = 1;
  console.log(`${sum.passed} passed, ${sum.failed} failed`);
  return sum.failed;
}

async function run_one({ name, body }, sum) {
  const from = Date.now();
  try {
    await within(timeout_ms, body());
    ++sum.passed;
    console.log(`ok      ${name} (${Date.now() - from} ms)`);
  } catch (why) {
    if (why instanceof Skipped) {
      console.log(`left    ${name}: ${why.message}`);
      return;
    }
    ++sum.failed;
    console.log(`FAILED  ${name} (${Date.now() - from} ms)\n${String(why?.stack ?? why).replace(/^/gm, '    ')}`);
  }
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
