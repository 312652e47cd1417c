// Makes or uses a passkey when its form is sent, and puts the answer into the form.
"use strict";
const toBytes = (text) =>
  Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
const toText = (buffer) =>
  btoa(String.fromCharCode(...new Uint8Array(buffer)))
    .replace(/\+/g, "-")
    .replace(/\//g, "_")
    .replace(/=+$/, "");
const withIds = (list) => (list || []).map((c) => ({ ...c, id: toBytes(c.id) }));

async function made(options) {
  options.challenge = toBytes(options.challenge);
  options.user.id = toBytes(options.user.id);
  options.excludeCredentials = withIds(options.excludeCredentials);
  const found = await navigator.credentials.create({ publicKey: options });
  const { clientDataJSON, attestationObject } = found.response;
  return answer(found, { clientDataJSON: toText(clientDataJSON), attestationObject: toText(attestationObject) });
}

async function used(options) {
  options.challenge = toBytes(options.challenge);
  options.allowCredentials = withIds(options.allowCredentials);
  const found = await navigator.credentials.get({ publicKey: options });
  const { clientDataJSON, authenticatorData, signature, userHandle } = found.response;
  return answer(found, {
    clientDataJSON: toText(clientDataJSON),
    authenticatorData: toText(authenticatorData),
    signature: toText(signature),
    userHandle: userHandle ? toText(userHandle) : null,
  });
}

const answer = (found, response) =>
  JSON.stringify({ id: found.id, rawId: toText(found.rawId), type: found.type, response });

for (const form of document.querySelectorAll("form[data-passkey]")) {
  form.addEventListener("submit", async (event) => {
    if (form.elements.code && form.elements.code.value.trim()) return;
    event.preventDefault();
    const told = form.querySelector("[role=status]");
    try {
      const run = form.dataset.passkey === "create" ? made : used;
      form.elements.credential.value = await run(JSON.parse(form.dataset.options));
    } catch (error) {
      told.textContent = `The passkey was not used (${error.name}). Try again, or choose another way.`;
      return;
    }
    form.submit();
  });
}
