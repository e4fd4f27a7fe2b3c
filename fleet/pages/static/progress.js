// A search that runs: looks every two seconds how far it is, and goes on when it has ended.
const every = 2000;

async function look() {
  const here = document.getElementById("progress");
  if (!here) return; // another page was put in its place
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    if (answer.redirected) {
      location.assign(answer.url);
      return;
    }
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const there = page.getElementById("progress");
    if (!there) {
      location.reload();
      return;
    }
    // Only what has changed, so that nothing is read out twice.
    if (there.textContent !== here.textContent) here.replaceChildren(...there.childNodes);
  } catch {
    // The line is down; the next try may find it again.
  }
  setTimeout(look, every);
}

if (document.getElementById("progress")) setTimeout(look, every);
