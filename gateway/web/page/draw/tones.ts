// The colours of the sheet, for the canvas: main.css decides them, in both themes.
export type Tone = 'ink' | 'soft' | 'rule' | 'edge' | 'band' | 'trace' | 'second' | 'act' | 'plan' | 'notice' | 'silent' | 'paper';

const known: readonly Tone[] = ['ink', 'soft', 'rule', 'edge', 'band', 'trace', 'second', 'act', 'plan', 'notice', 'silent', 'paper'];
let held: Record<Tone, string> | null = null;
const told = new Set<() => void>();

export function tone(name: Tone): string {
  if (held === null) {
    const style = getComputedStyle(document.documentElement);
    held = Object.fromEntries(known.map((t) => [t, style.getPropertyValue(`--${t}`).trim()])) as Record<Tone, string>;
  }
  return held[name];
}

/** Calls when the theme changes; the answer ends it. */
export function on_theme(changed: () => void): () => void {
  told.add(changed);
  return () => told.delete(changed);
}

const theme = window.matchMedia('(prefers-color-scheme: dark)');
theme.addEventListener('change', () => {
  held = null;
  for (const changed of told) changed();
});
