/* Calls to the desk's own server. Addresses are relative to the page's, which bears the token. */

/** What stopped a call; `findings` where the desk told some. */
export class Stopped extends Error {
  constructor(words, findings = []) {
    super(words);
    this.findings = findings;
  }
}

async function answer(response) {
  let told = null;
  try {
    told = await response.json();
  } catch {
    throw new Stopped("the desk gave no answer that can be read");
  }
  if (!response.ok) throw new Stopped(told.error ?? "the desk refused", told.findings ?? []);
  return told;
}

async function reach(path, options) {
  try {
    return await fetch(path, options);
  } catch {
    throw new Stopped("the desk doesn't answer: was it closed? Start it again");
  }
}

export const ask = async (path) => answer(await reach(path, {}));

export const tell = async (path, data = {}) =>
  answer(
    await reach(path, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(data),
    }),
  );

export const bring = async (file) =>
  answer(await reach(`bring?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file }));
