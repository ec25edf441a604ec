// Builds the page into the folder given:
//   node build.mjs OUT          OUT/dist/ (index.html, hashed script and style) and OUT/page_files.cpp, the same as gzip'ed bytes
//   node build.mjs OUT --watch  only dist/, anew at each change, with a map for the debugger
// page_files.cpp fills gateway/web/page_files.h, so that the program carries its page.
import { build, context } from 'esbuild';
import { createHash } from 'node:crypto';
import { mkdirSync, readFileSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { gzipSync } from 'node:zlib';

const here = dirname(fileURLToPath(import.meta.url));
const out = resolve(process.argv[2] ?? join(here, '.out'));
const watching = process.argv.includes('--watch');
const dist = join(out, 'dist');

const types = {
  html: 'text/html; charset=utf-8',
  js: 'text/javascript; charset=utf-8',
  css: 'text/css; charset=utf-8',
  svg: 'image/svg+xml',
};

// The first view may cost this much, compressed, with everything that it needs (README, limits).
const first_view_bytes_max = 150_000;

function options() {
  return {
    entryPoints: { page: join(here, 'main.tsx') },
    bundle: true,
    format: 'esm',
    target: ['es2020'],
    outdir: dist,
    entryNames: watching ? '[name]' : '[name]-[hash]',
    jsx: 'automatic',
    jsxImportSource: 'preact',
    minify: !watching,
    sourcemap: watching ? 'inline' : false,
    legalComments: 'eof',
    logLevel: 'warning',
    metafile: true,
    plugins: [{ name: 'html', setup: (made) => made.onEnd(write_html) }],
  };
}

function write_html(result) {
  if (result.errors.length > 0) return;
  const made = Object.keys(result.metafile.outputs).map((path) => resolve(path).slice(dist.length + 1));
  const script = made.find((name) => name.endsWith('.js'));
  const style = made.find((name) => name.endsWith('.css'));
  const html = readFileSync(join(here, 'index.html'), 'utf8')
    .replace('{{script}}', `/${script}`)
    .replace('{{style}}', `/${style}`);
  writeFileSync(join(dist, 'index.html'), html);
  writeFileSync(join(dist, 'mark.svg'), readFileSync(join(here, 'mark.svg')));
}

// One definition a file, in the order of their names: two builds of the same sources agree to the byte.
function embedded(names) {
  let bytes_in_all = 0;
  const arrays = [];
  const rows = [];
  names.forEach((name, i) => {
    const plain = readFileSync(join(dist, name));
    const packed = gzipSync(plain, { level: 9 });
    bytes_in_all += packed.length;
    arrays.push(`const unsigned char bytes_${i}[] = {${[...packed].join(',')}};`);
    const tag = createHash('sha256').update(plain).digest('hex').slice(0, 16);
    const lasting = /-[A-Z0-9]{8}\.(js|css)$/.test(name);
    rows.push(
      `    {"/${name}", "${types[name.split('.').pop()]}", "${tag}", ${lasting}, bytes_${i}, sizeof bytes_${i}},`,
    );
  });
  if (bytes_in_all > first_view_bytes_max) throw new Error(`the page has ${bytes_in_all} bytes; ${first_view_bytes_max} are allowed`);
  const text = `// Made by gateway/web/page/build.mjs.
#include "gateway/web/page_files.h"

namespace driftline::web {
namespace {
${arrays.join('\n')}
const PageFile files[] = {
${rows.join('\n')}
};
}  // namespace
std::span<const PageFile> page_files() { return files; }
}  // namespace driftline::web
`;
  return { text, bytes_in_all };
}

rmSync(dist, { recursive: true, force: true });
mkdirSync(dist, { recursive: true });
if (watching) {
  await (await context(options())).watch();
} else {
  await build(options());
  const names = readdirSync(dist).sort();
  const { text, bytes_in_all } = embedded(names);
  writeFileSync(join(out, 'page_files.cpp'), text);
  console.log(`page: ${names.join(', ')}; ${bytes_in_all} bytes compressed`);
}
