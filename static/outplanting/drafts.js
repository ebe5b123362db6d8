// Drafts of visits and dives that this phone keeps: told where one begins, forgotten once they are in the
// record.
const PREFIX = /^(watch|dive):/;

function drafts() {
  const found = [];
  for (let at = 0; at < localStorage.length; at += 1) {
    const key = localStorage.key(at);
    if (PREFIX.test(key ?? "")) {
      try {
        found.push([key, JSON.parse(localStorage.getItem(key))]);
      } catch {
        // Not one of ours.
      }
    }
  }
  return found;
}

const sent = document.querySelector("[data-sent]")?.dataset.sent;
for (const [key, draft] of drafts()) {
  if (sent && draft.uid === sent) {
    localStorage.removeItem(key);
  }
}

const list = document.getElementById("drafts");
if (list) {
  const mine = drafts().filter(([key]) => key.split(":")[1] === list.dataset.user);
  for (const [, draft] of mine) {
    const door = document.createElement("a");
    door.href = draft.at;
    door.textContent = `${draft.site} (${Object.keys(draft.marks).length})`;
    list.append(" ", door);
  }
  list.hidden = mine.length === 0;
}
