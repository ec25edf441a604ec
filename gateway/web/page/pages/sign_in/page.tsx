// Sign-in.
import './page.css';
import { useState } from 'preact/hooks';
import { route_of } from '../../model/route';
import { use_place } from '../../parts/place';
import { send } from '../../wire/http';
import { session as decoder } from '../../wire/types';

export function SignInPage({ to }: { to: string }) {
  const { go, session, set_session } = use_place();
  const [user, set_user] = useState('');
  const [password, set_password] = useState('');
  const [state, set_state] = useState<{ sending: boolean; refused: string }>({ sending: false, refused: '' });
  const submit = (event: SubmitEvent): void => {
    event.preventDefault();
    set_state({ sending: true, refused: '' });
    void send(new AbortController().signal, 'POST', '/session', null, { user, password }, decoder).then((answer) => {
      if (answer.ok && answer.value.signed_in) {
        set_session(answer.value);
        go(route_of(to), 'replace');
      } else {
        set_password('');
        set_state({ sending: false, refused: answer.ok ? 'not signed in' : answer.trouble.text });
      }
    });
  };
  if (session !== null && session.signed_in)
    return <p class="empty">{session.open ? 'No users are set up here: nobody needs to sign in.' : `You are signed in as ${session.user ?? '?'}.`}</p>;
  return (
    <form class="sign-in" onSubmit={submit}>
      <h1>Sign in</h1>
      <label class="field">
        Name
        <input value={user} autocomplete="username" required maxLength={64} onInput={(e) => set_user(e.currentTarget.value)} />
      </label>
      <label class="field">
        Password
        <input type="password" value={password} autocomplete="current-password" required maxLength={1024} onInput={(e) => set_password(e.currentTarget.value)} />
      </label>
      {state.refused !== '' && <p role="alert" class="refused">Not signed in: {state.refused}</p>}
      <button class="first" disabled={state.sending}>{state.sending ? 'Asking…' : 'Sign in'}</button>
      <p class="soft">Who has no name here asks the engineer who set the gateway up.</p>
    </form>
  );
}
