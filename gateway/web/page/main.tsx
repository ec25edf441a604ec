import { render } from 'preact';

render(<main>driftline</main>, document.body);
