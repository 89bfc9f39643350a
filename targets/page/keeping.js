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

// Asks for a text in a line. wrong(text): what is wrong with it, or null. Gives null if it is given up.
function askText(question, now, wrong) {
  const dialog = document.getElementById("text");
  const input = document.getElementById("text-given");
  document.getElementById("text-asked").textContent = question;
  input.value = now;
  input.setCustomValidity("");
  dialog.showModal();
  input.select();
  const given = () => input.value.trim().replace(/\s+/g, " ");
  return new Promise((answer) => {
    input.oninput = () => input.setCustomValidity("");
    document.getElementById("text-form").onsubmit = (event) => {
      event.preventDefault();
      input.setCustomValidity(wrong(given()) ?? "");
      if (!input.reportValidity()) return;
      dialog.close();
      answer(given());
    };
    document.getElementById("text-no").onclick = () => dialog.close();
    dialog.onclose = () => dialog.open || answer(null);
  });
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
