// Trial bench: thresholds tried against history.
export function TrialPage({ rest }: { rest: string }) {
  return (
    <>
      <h1 style={{ padding: '1.2rem 0 0.3rem' }}>Trial bench</h1>
      <p class="empty" data-rest={rest}>
        Thresholds are tried against history here. Until this page can do it, <code>driftline check --explain SITE/STATION</code> shows those in force.
      </p>
    </>
  );
}
