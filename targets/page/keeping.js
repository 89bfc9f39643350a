// Keeps a session: in a file, and from one loading of the page to the next. What is kept is a script,
// under the hash of the layout's text, so that it never comes back into another layout.

function makeKeeping(data) {
  const key = `bellcrank ${data.source} ${data.compiler}`;
  const name = `${data.title.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-|-$/g, "") || "session"}.rehearsal`;

  // A browser may forbid it; then a reload begins again.
  const tried = (act) => {
    try {
      return act();
    } catch {
      return null;
    }
  };
  const remember = (kept) => tried(() => sessionStorage.setItem(key, JSON.stringify(kept)));
  const forget = () => tried(() => sessionStorage.removeItem(key));
  const remembered = () => tried(() => JSON.parse(sessionStorage.getItem(key)));

  function save(text) {
    const address = URL.createObjectURL(new Blob([text], { type: "text/plain" }));
    make("a", { href: address, download: name }).click();
    setTimeout(() => URL.revokeObjectURL(address));
    return name;
  }

  return { remember, forget, remembered, save };
}

// Asks before something is lost. Gives whether it is wanted all the same.
function askFirst(question, yes) {
  const dialog = document.getElementById("sure");
  document.getElementById("sure-asked").textContent = question;
  const sure = document.getElementById("sure-yes");
  sure.textContent = yes;
  dialog.showModal();
  // Answered in the click itself: `close` is told of only later.
  return new Promise((answer) => {
    const end = (wanted) => {
      answer(wanted);
      dialog.close();
    };
    sure.onclick = () => end(true);
    document.getElementById("sure-no").onclick = () => end(false);
    // By the escape key; after an answer it changes nothing, nor where the next question is open already.
    dialog.onclose = () => dialog.open || answer(false);
  });
}
