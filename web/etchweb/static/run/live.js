// Keeps one ear at the box: the stream while the page is seen, asking now and then where the
// stream is full or broken. A browser shares six connections among all its pages of one host,
// so a page that nobody looks at holds none.

const POLL_EVERY_MS = 2000; // a page that has heard nothing for three seconds says so
const POLL_WAITS_MS = 5000; // a question that hangs must not stand for ever
const TRY_STREAM_AGAIN_MS = 30000;

export function listen({ stream, poll, heard }) {
  let source = null;
  let polling = 0;
  let nextStreamAt = 0;

  function openStream() {
    closeAll();
    source = new EventSource(stream);
    source.onmessage = (event) => heard(JSON.parse(event.data));
    source.onerror = () => {
      if (source?.readyState === EventSource.CLOSED) startPolling();
    };
  }

  function startPolling() {
    closeAll();
    nextStreamAt = Date.now() + TRY_STREAM_AGAIN_MS;
    polling = setInterval(ask, POLL_EVERY_MS);
    ask();
  }

  async function ask() {
    if (Date.now() > nextStreamAt) return openStream();
    try {
      const answer = await fetch(poll, {
        headers: { Accept: "application/json" },
        signal: AbortSignal.timeout(POLL_WAITS_MS),
      });
      if (answer.status === 403) return location.reload(); // shut out: pair again
      if (answer.ok) heard(await answer.json());
    } catch {
      // Not reachable: the page says that the link is lost, and the next turn asks again.
    }
  }

  function closeAll() {
    source?.close();
    source = null;
    clearInterval(polling);
    polling = 0;
  }

  const follow = () => (document.hidden ? closeAll() : openStream());
  document.addEventListener("visibilitychange", follow);
  addEventListener("pagehide", closeAll);
  addEventListener("pageshow", (event) => event.persisted && follow());
  follow();
}
