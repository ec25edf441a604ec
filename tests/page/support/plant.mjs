// A real gateway with the history of an invented plant, and a real broker: on free loopback ports, in a folder of their own.
import { spawn, spawnSync } from 'node:child_process';
import { closeSync, mkdirSync, mkdtempSync, openSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { eventually } from './runner.mjs';
import { publisher } from './mqtt.mjs';

async function free_port() {
  const server = createServer();
  await new Promise((done) => server.listen(0, '127.0.0.1', done));
  const { port } = server.address();
  await new Promise((done) => server.close(done));
  return port;
}

const alive = (child) => child.exitCode === null && child.signalCode === null;

// Asks it to end, and tells it to after a while. Only what was started here is ever ended.
async function end(child) {
  if (!alive(child)) return;
  const gone = new Promise((done) => child.once('exit', done));
  child.kill('SIGTERM');
  const patience = setTimeout(() => child.kill('SIGKILL'), 15_000);
  await gone;
  clearTimeout(patience);
}

const started = new Set();
// Whatever way this process ends, nothing that it started stays behind.
process.on('exit', () => {
  for (const child of started) child.kill('SIGKILL');
});
for (const signal of ['SIGTERM', 'SIGINT', 'SIGHUP']) process.on(signal, () => process.exit(1));

function start(program, options, log) {
  const to = openSync(log, 'a');
  const child = spawn(program, options, { stdio: ['ignore', to, to] });
  closeSync(to);
  started.add(child);
  child.once('exit', () => started.delete(child));
  return child;
}

/** `users`: name, role and password of each; none: open. `fill`: makes configuration and history in place of the invented fleet. */
export async function plant(wanted) {
  const folder = mkdtempSync(join(tmpdir(), 'driftline-page-'));
  try {
    return await made_in(folder, wanted);
  } catch (why) {
    rmSync(folder, { recursive: true, force: true });
    throw why;
  }
}

async function made_in(folder, { build, stations, users = [], days = 30, fill }) {
  const [broker_port, page_port] = [await free_port(), await free_port()];
  const config = join(folder, 'config');
  const data = join(folder, 'data');
  mkdirSync(config);
  mkdirSync(data);
  writeFileSync(join(folder, 'broker.conf'), `listener ${broker_port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 20000\n`);
  writeFileSync(
    join(config, 'gateway.json'),
    JSON.stringify({ broker: { host: '127.0.0.1', port: broker_port }, data_folder: data, web: { address: '127.0.0.1', port: page_port } }),
  );
  for (const { name, role, password } of users) {
    const made = spawnSync(join(build, 'driftline'), ['user', '--config', config, '--role', role, name], { input: `${password}\n` });
    if (made.status !== 0) throw new Error(`user ${name}: ${made.stderr}`);
  }
  if (fill !== undefined) {
    fill({ build, folder, config, data });
  } else {
    const filled = spawnSync(join(build, 'tests/fleet_history'), ['--data', data, '--stations', `${stations}`, '--days', `${days}`]);
    if (filled.status !== 0) throw new Error(`fleet_history: ${filled.stderr}`);
  }

  const made = { url: `http://127.0.0.1:${page_port}`, folder, broker_port, gateway: null, broker: null };
  made.start_broker = () => {
    made.broker = start('/usr/sbin/mosquitto', ['-c', join(folder, 'broker.conf')], join(folder, 'broker.log'));
  };
  made.start_gateway = async () => {
    made.gateway = start(join(build, 'driftline'), ['run', '--config', config], join(folder, 'gateway.log'));
    await eventually('the gateway answers', async () => {
      if (!alive(made.gateway)) throw new Error(readFileSync(join(folder, 'gateway.log'), 'utf8').slice(-2000));
      return (await fetch(`${made.url}/api/v1/session`)).ok;
    }, 30_000);
  };
  made.stop_gateway = () => end(made.gateway);
  made.stop_broker = () => end(made.broker);
  made.get = async (path) => (await fetch(`${made.url}/api/v1${path}`)).json();
  made.publisher = () => publisher(broker_port, `page-test-${Date.now()}`);
  made.end = async () => {
    for (const child of [made.gateway, made.broker]) if (child !== null) await end(child);
    rmSync(folder, { recursive: true, force: true });
  };
  try {
    made.start_broker();
    await made.start_gateway();
    await eventually('the gateway hears its broker', async () => (await made.get('/fleet?strips=0')).feed?.broker === 'connected' || users.length > 0, 15_000);
  } catch (why) {
    await made.end();
    throw why;
  }
  return made;
}

/** One sample of each station but those that are meant to be silent, so that the plant is heard. */
export async function let_it_be_heard(made, silent) {
  const fleet = await made.get('/fleet?strips=0');
  const tell = await made.publisher();
  fleet.columns.station.forEach((station, i) => {
    if (silent(fleet, i)) return;
    tell.publish(`grease/${fleet.sites[fleet.columns.site[i]]}/${station}/telemetry`, {
      time: Date.now(), pump: false, pressure_bar: [2.1, 2.2], temp_c: 11.4,
    });
  });
  await tell.taken();
  tell.end();
}
