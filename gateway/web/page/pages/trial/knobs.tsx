// What is moved: a fieldset for each candidate.
import { knob_of, off_slider, on_slider, type TrialSettings } from '../../model/trial';

export function Knobs({ title, condition, of, set, leave }: { title: string; condition: string; of: TrialSettings; set: (s: TrialSettings) => void; leave?: () => void }) {
  const knob = knob_of(condition);
  return (
    <fieldset class="knobs">
      <legend>{title}</legend>
      <Slider words="Smallest shift that matters, per cent" value={of.shift} usual={knob.usual} from={knob.from} to={knob.to} set={(shift) => set({ ...of, shift })} />
      <Slider words="False warnings a year allowed" value={of.budget} usual={0.04} from={0.001} to={10} set={(budget) => set({ ...of, budget })} />
      {leave !== undefined && <button onClick={leave}>Leave it</button>}
    </fieldset>
  );
}

function Slider(p: { words: string; value: number | null; usual: number; from: number; to: number; set: (value: number | null) => void }) {
  return (
    <label class="slider">
      <span>{p.words}: <strong>{p.value ?? 'as in force'}</strong></span>
      <input type="range" min="0" max="100" step="1" value={Math.round(on_slider(p.value ?? p.usual, p.from, p.to))}
        onInput={(e) => p.set(off_slider(Number(e.currentTarget.value), p.from, p.to))} />
      <button disabled={p.value === null} onClick={() => p.set(null)}>as in force</button>
    </label>
  );
}
