// Warnings: what is open, whose it is, how old it is; answering, putting aside, noting.
import './page.css';
import { useEffect, useMemo, useRef } from 'preact/hooks';
import { channel_state, heartbeat_state } from '../../model/duty';
import { value_of } from '../../model/loaded';
import { station_query, urgencies, warnings_query, warnings_whiches, type WarningsQuery } from '../../model/route';
import { found_words, is_open, life_words, remaining, replaced, shown_warnings } from '../../model/warnings';
import { counted, duration_words } from '../../model/words';
import { use_events } from '../../parts/events';
import { TroubleNote, use_loaded, Waiting } from '../../parts/load';
import { Marked } from '../../parts/mark';
import { gateway_now, Go, local, use_clock, use_place } from '../../parts/place';
import { stale_class } from '../../parts/shell';
import { WarningCard } from '../../parts/warning_card';
import { address } from '../../wire/http';
import { messages as messages_decoder, warning as one_decoder, warnings as decoder, type Warning, type Warnings } from '../../wire/types';

const which_words: Record<WarningsQuery['which'], string> = { unanswered: 'unanswered', open: 'all that are open', all: 'the ended ones as well' };

const channels_anew_ms = 30_000;

/** Many changes at once are asked for once. */
const settle_ms = 800;

export function WarningsPage({ query }: { query: WarningsQuery }) {
  const { loaded, again, put } = use_loaded(`/warnings?state=${query.which}&limit=500`, decoder);
  const { line } = use_place();
  const waiting = useRef<ReturnType<typeof setTimeout> | undefined>(undefined);
  useEffect(() => () => clearTimeout(waiting.current), []);
  use_events((event) => {
    // `hello` too: what happened between the answer and the feed's beginning has been told by neither.
    if (event.kind === 'warning' || event.kind === 'hello') {
      clearTimeout(waiting.current);
      waiting.current = setTimeout(again, settle_ms);
    }
  });
  const known = value_of(loaded);
  return (
    <div class={`warnings ${stale_class(line)}`}>
      <h1>Warnings</h1>
      <Channels />
      {loaded.kind === 'failed' && <TroubleNote trouble={loaded.trouble} again={again} />}
      {loaded.kind === 'loading' && <Waiting what="the warnings" />}
      {known !== null && <Known known={known} query={query} changed={(w) => put({ ...known, warnings: replaced(known.warnings, w) })} />}
    </div>
  );
}

/** How the messages go out: quiet while all is well, said at once when something cannot get out. */
function Channels() {
  const { loaded, again } = use_loaded('/messages', messages_decoder);
  const { line } = use_place();
  const now = gateway_now(line, use_clock(15_000));
  useEffect(() => {
    const timer = setInterval(() => { if (document.visibilityState === 'visible') again(); }, channels_anew_ms);
    return () => clearInterval(timer);
  }, [again]);
  const known = value_of(loaded);
  if (known === null) return null;
  const states = known.channels.map((c) => ({ name: c.channel, ...channel_state(c, now) }));
  if (known.heartbeat !== null) states.push({ name: 'heartbeat', ...heartbeat_state(known.heartbeat, now) });
  return (
    <dl class="channels">
      {!known.duty && <div><dt>messages</dt><dd class="soft">no duty list is set up: nobody is sent one</dd></div>}
      {states.map((s) => (
        <div key={s.name}>
          <dt>{s.name}</dt>
          <dd class={s.well ? 'soft' : undefined}>{s.well ? s.words : <Marked kind="act" word={s.words} />}</dd>
        </div>
      ))}
    </dl>
  );
}

interface KnownProps {
  known: Warnings;
  query: WarningsQuery;
  changed: (warning: Warning) => void;
}

function Known({ known, query, changed }: KnownProps) {
  const { line, go } = use_place();
  const now = gateway_now(line, use_clock(15_000));
  const list = useMemo(() => shown_warnings(known.warnings, query), [known.warnings, query]);
  const sites = useMemo(() => [...new Set(known.warnings.map((w) => w.site))].sort(), [known.warnings]);
  const set = (change: Partial<WarningsQuery>): void => go({ page: 'warnings', query: { ...query, ...change } }, 'replace');
  const filtered = query.search !== '' || query.site !== null || query.urgency !== null;
  return (
    <>
      <form class="warning-filters no-print" role="search" onSubmit={(e) => e.preventDefault()}>
        <label>
          <span class="unseen">Search station, what is wrong, or owner</span>
          <input type="search" placeholder="Search station, trouble or owner" value={query.search} maxLength={100} onInput={(e) => set({ search: e.currentTarget.value })} />
        </label>
        <label>
          <span class="unseen">Site</span>
          <select value={query.site ?? ''} onChange={(e) => set({ site: e.currentTarget.value || null })}>
            <option value="">all sites</option>
            {sites.map((s) => <option key={s} value={s}>{s}</option>)}
          </select>
        </label>
        <label>
          <span class="unseen">Urgency</span>
          <select value={query.urgency ?? ''} onChange={(e) => set({ urgency: urgencies.find((u) => u === e.currentTarget.value) ?? null })}>
            <option value="">any urgency</option>
            {urgencies.map((u) => <option key={u} value={u}>{u}</option>)}
          </select>
        </label>
        <label>
          <span class="unseen">Which</span>
          <select value={query.which} onChange={(e) => set({ which: warnings_whiches.find((w) => w === e.currentTarget.value) ?? 'open' })}>
            {warnings_whiches.map((w) => <option key={w} value={w}>{which_words[w]}</option>)}
          </select>
        </label>
        <span class="soft" role="status">{counted(list.length, 'warning')}{known.more ? ' of more: the worst 500 are shown' : ''}</span>
        <a href={address(`/warnings?state=${query.which}&format=csv`)} download>CSV</a>
      </form>
      {list.length === 0 ? (
        <p class="empty">
          {filtered ? <>No warning fits. <Go to={{ page: 'warnings', query: { ...warnings_query, which: query.which } }}>Show all</Go>.</>
            : query.which === 'unanswered' ? 'Every warning has been answered.' : 'No warning is open. A station that is silent is told as a warning too: see Fleet for those that were never heard.'}
        </p>
      ) : (
        <ol class="warning-list">
          {list.map((w) => <Item key={w.key + String(w.raised_ms)} warning={w} now={now} query={query} changed={changed} />)}
        </ol>
      )}
    </>
  );
}

function Item({ warning, now, query, changed }: { warning: Warning; now: number; query: WarningsQuery; changed: KnownProps['changed'] }) {
  const opened = query.key === warning.key;
  const { go } = use_place();
  const left = is_open(warning) ? remaining(warning.forecast, now) : null;
  const item = useRef<HTMLLIElement>(null);
  useEffect(() => {
    if (opened) item.current?.scrollIntoView({ block: 'nearest' });
  }, [opened]);
  const toggle = (): void => go({ page: 'warnings', query: { ...query, key: opened ? null : warning.key } }, 'replace');
  const station = <Go to={{ page: 'station', site: warning.site, station: warning.station, query: station_query }}>{warning.site}/{warning.station}</Go>;
  return (
    <li ref={item} class={opened ? 'opened' : undefined}>
      <div class={`warning-row${is_open(warning) ? '' : ' soft'}`}>
        {is_open(warning) ? <Marked kind={warning.urgency} /> : <Marked kind="well" word="Over" />}
        <span class="w-what">
          <button class="w-open" aria-expanded={opened} onClick={toggle}>{found_words(warning)}</button>
          {warning.causes[0] !== undefined && is_open(warning) && <span class="soft"> likely {warning.causes[0].words}</span>}
        </span>
        <span class="w-station">{station}</span>
        <span class="w-left">{left === null ? '' : left.words}{left !== null && left.range !== '' && <span class="soft"> ({left.range})</span>}</span>
        <span class="w-life soft">{life_words(warning, local)}</span>
        <span class="w-age soft">{duration_words((warning.cleared_ms ?? now) - warning.raised_ms)}</span>
      </div>
      {opened && <Opened warning={warning} now={now} changed={changed} />}
    </li>
  );
}

/** The list may be some seconds old: what is opened is asked for by itself. */
function Opened({ warning, now, changed }: { warning: Warning; now: number; changed: KnownProps['changed'] }) {
  const { loaded, put } = use_loaded(is_open(warning) ? `/warnings/${warning.key}` : null, one_decoder);
  const known = value_of(loaded);
  return (
    <WarningCard
      source={<Go to={{ page: 'station', site: warning.site, station: warning.station, query: station_query }}>{warning.line === null ? 'The station' : 'The turns'}</Go>}
      warning={known !== null && known.raised_ms === warning.raised_ms ? known : warning} now={now}
      changed={(w) => {
        put(w);
        changed(w);
      }}
    />
  );
}
