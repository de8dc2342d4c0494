// Small things kept on this device between two touches: half-filled forms and what is in the nebulisers.

export const readDraft = (test) => { try { return JSON.parse(localStorage.getItem(`sealwright.draft.${test}`)) || {}; } catch { return {}; } };
export const keepDraft = (lane) => localStorage.setItem(`sealwright.draft.${lane.test}`, JSON.stringify(lane.draft));
export const readKit = () => { try { return JSON.parse(localStorage.getItem("sealwright.kit")) || {}; } catch { return {}; } };

const keepKit = (entry) => localStorage.setItem("sealwright.kit", JSON.stringify({ ...readKit(), ...entry }));

export const keepLoaded = (lane, { which, lot, loaded_at }) => keepKit({ [`${lane.protocol.agent}/${which}`]: { lot, loaded_at } });

export const keepChecked = (lane, { at, data }) => keepKit({ [lane.protocol.agent]: { at, checks: data.checks } });

export const keepInstrument = (lane, data) => keepKit({ [`instrument/${lane.protocol.method}`]: data });

export const keepMade = (lane, { which, made_at, lot }) => keepKit({ [`${lane.protocol.agent}/${which}`]: { made_at, lot } });
