// Who acts. Where no users are set up, the name is asked for and kept in this browser; else it is the one who signed in.
import { useState } from 'preact/hooks';
import { use_place } from './place';

const kept_under = 'driftline-name';

export function use_name(): { name: string; set_name: (name: string) => void; asked: boolean; by: { by?: string } } {
  const { session } = use_place();
  const [name, set] = useState(() => read());
  const asked = session?.open === true;
  const set_name = (next: string): void => {
    set(next);
    try {
      localStorage.setItem(kept_under, next);
    } catch {
      // A browser that keeps nothing asks again next time.
    }
  };
  return { name, set_name, asked, by: asked ? { by: name.trim() } : {} };
}

function read(): string {
  try {
    return localStorage.getItem(kept_under) ?? '';
  } catch {
    return '';
  }
}

export function NameField({ name, set_name }: { name: string; set_name: (name: string) => void }) {
  return (
    <label class="field">
      Your name
      <input value={name} required maxLength={80} autocomplete="name" onInput={(e) => set_name(e.currentTarget.value)} />
    </label>
  );
}
