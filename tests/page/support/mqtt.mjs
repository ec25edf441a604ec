// As much of MQTT 3.1.1 as publishing takes (OASIS standard, sections 3.1 and 3.3; QoS 1 and its acknowledgements).
import { connect } from 'node:net';

const text = (words) => {
  const bytes = Buffer.from(words);
  return Buffer.concat([Buffer.from([bytes.length >> 8, bytes.length & 255]), bytes]);
};

function packet(first, body) {
  const length = [];
  let rest = body.length;
  do {
    length.push((rest % 128) | (rest > 127 ? 128 : 0));
    rest = Math.floor(rest / 128);
  } while (rest > 0);
  return Buffer.concat([Buffer.from([first, ...length]), body]);
}

export async function publisher(port, name) {
  const socket = connect(port, '127.0.0.1');
  await new Promise((done, failed) => socket.once('connect', done).once('error', failed));
  socket.write(packet(0x10, Buffer.concat([text('MQTT'), Buffer.from([4, 2, 0, 0]), text(name)])));
  await new Promise((done) => socket.once('data', done));
  let id = 0;
  let acknowledged = 0;
  let sent = 0;
  let rest = Buffer.alloc(0);
  socket.on('data', (bytes) => {
    rest = Buffer.concat([rest, bytes]);
    while (rest.length >= 2 && rest.length >= 2 + rest[1]) {
      if (rest[0] === 0x40) ++acknowledged;
      rest = rest.subarray(2 + rest[1]);
    }
  });
  socket.on('error', () => undefined);
  return {
    publish(topic, value) {
      id = (id % 65535) + 1;
      ++sent;
      socket.write(packet(0x32, Buffer.concat([text(topic), Buffer.from([id >> 8, id & 255]), Buffer.from(JSON.stringify(value))])));
    },
    async taken() {
      const end = Date.now() + 20_000;
      while (acknowledged < sent) {
        if (Date.now() > end) throw new Error(`${acknowledged} of ${sent} messages were acknowledged`);
        await new Promise((done) => setTimeout(done, 10));
      }
    },
    end() {
      socket.end(packet(0xe0, Buffer.alloc(0)));
    },
  };
}
