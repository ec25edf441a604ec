// The only place that fetches. The abort signal comes first, so that none is forgotten.
import type { Trouble } from '../model/loaded';
import { type Decoder, Misread } from './decode';
import { problem } from './types';

export type Answer<T> = { ok: true; value: T } | { ok: false; trouble: Trouble };

const api = '/api/v1';
/** An answer that takes longer does not come. */
const patience_ms = 20_000;

export async function get<T>(signal: AbortSignal, path: string, decoder: Decoder<T>): Promise<Answer<T>> {
  return ask(signal, path, { method: 'GET' }, decoder);
}

/** What changes something carries the session's token. */
export async function send<T>(
  signal: AbortSignal, method: 'POST' | 'DELETE', path: string, token: string | null, body: unknown, decoder: Decoder<T>,
): Promise<Answer<T>> {
  const headers: Record<string, string> = {};
  if (token !== null) headers['X-Driftline-Token'] = token;
  const request: RequestInit = { method, headers };
  if (body !== null) {
    headers['Content-Type'] = 'application/json';
    request.body = JSON.stringify(body);
  }
  return ask(signal, path, request, decoder);
}

/** An address for a link: CSV or a picture that the browser fetches itself. */
export function address(path: string): string {
  return api + path;
}

async function ask<T>(signal: AbortSignal, path: string, request: RequestInit, decoder: Decoder<T>): Promise<Answer<T>> {
  const patience = new AbortController();
  const timer = setTimeout(() => patience.abort(), patience_ms);
  const leave = (): void => patience.abort();
  signal.addEventListener('abort', leave);
  try {
    const response = await fetch(api + path, { ...request, signal: patience.signal, credentials: 'same-origin', cache: 'no-cache' });
    if (!response.ok) return { ok: false, trouble: await refusal(response) };
    const body: unknown = response.status === 204 ? null : await response.json();
    return { ok: true, value: decoder(body, '') };
  } catch (why) {
    if (signal.aborted) return { ok: false, trouble: { kind: 'left', text: '' } };
    if (why instanceof Misread) return { ok: false, trouble: { kind: 'unreadable', text: `the gateway's answer cannot be read: ${why.message}` } };
    return { ok: false, trouble: { kind: 'gone', text: 'the gateway does not answer' } };
  } finally {
    clearTimeout(timer);
    signal.removeEventListener('abort', leave);
  }
}

async function refusal(response: Response): Promise<Trouble> {
  const text = await said(response);
  if (response.status === 401) return { kind: 'sign-in', text: text ?? 'sign in first' };
  if (response.status === 404) return { kind: 'not-found', text: text ?? 'there is no such thing' };
  if (response.status >= 500 && response.status !== 503) return { kind: 'gone', text: text ?? 'the gateway has failed' };
  return { kind: 'refused', text: text ?? `refused (${response.status})` };
}

async function said(response: Response): Promise<string | null> {
  try {
    const body = problem(await response.json(), '');
    const words = [body.detail === '' ? body.title : body.detail, body.remedy === '' ? '' : `right would be: ${body.remedy}`];
    return words.filter((w) => w !== '').join('; ') || null;
  } catch {
    return null;
  }
}
