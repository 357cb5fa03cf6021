// What is asked of the program, and what it tells.

const asJson = async (answer) => {
  const text = await answer.text();
  try {
    return JSON.parse(text);
  } catch {
    return { why: text };
  }
};

// Sends `body`; gives `{ status, said }`, with status 0 where the program does not answer.
export const post = async (path, body) => {
  try {
    const answer = await fetch(path, { method: "POST", body: body instanceof Blob ? body : JSON.stringify(body) });
    return { status: answer.status, said: await asJson(answer) };
  } catch {
    return { status: 0, said: { why: "The program has ended." } };
  }
};

export const get = async (path) => asJson(await fetch(path));

const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });

// Calls `show` with the fields that changed, from the first on, and `lost` when the program ends or answers again.
export const follow = async (show, lost) => {
  let serial = 0;
  let isLost = false;
  for (;;) {
    try {
      const answer = await fetch(`state?after=${serial}`);
      if (!answer.ok) throw new Error(String(answer.status));
      const fields = await answer.json();
      serial = fields.serial;
      if (isLost) lost(false);
      isLost = false;
      show(fields);
    } catch {
      if (!isLost) lost(true);
      isLost = true;
      await pause(1000);
    }
  }
};
