// Small things kept on this device between two touches: half-filled forms and what is in the nebulisers.

export const readDraft = (test) => { try { return JSON.parse(localStorage.getItem(`sealwright.draft.${test}`)) || {}; } catch { return {}; } };
export const keepDraft = (lane) => localStorage.setItem(`sealwright.draft.${lane.test}`, JSON.stringify(lane.draft));
export const readKit = () => { try { return JSON.parse(localStorage.getItem("sealwright.kit")) || {}; } catch { return {}; } };

export function keepKit(lane, { which, lot, loaded_at }) {
  const kit = { ...readKit(), [`${lane.protocol.agent}/${which}`]: { lot, loaded_at } };
  localStorage.setItem("sealwright.kit", JSON.stringify(kit));
  lane.kit = kit;
}
