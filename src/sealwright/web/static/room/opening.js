// A wearer comes into the room: the first event of a test.

import { ownLevel } from "./dialogs.js";

export function openedData(room, roomId, { wearer, facepiece, protocol, own, rules, previous }) {
  const piece = room.pack.facepieces.find((f) => f.id === facepiece), method = room.pack.protocols[protocol];
  const tester = room.pack.testers.find((t) => t.id === room.tester);
  const data = { protocol, protocol_version: method.version, wearer, room: roomId,
    facepiece: { id: piece.id, make: piece.make, model: piece.model, material: piece.material, size: piece.size,
                 kind: piece.kind, own },
    tester: { id: tester.id, ...(tester.competent_until_at ? { competent_until_at: tester.competent_until_at } : {}) } };
  const level = ownLevel(room.pack, method, piece.kind, rules);
  if (method.quantitative && rules) data.rule_set = rules;
  if (level) data.pass_level = level;
  if (previous) Object.assign(data, { try_no: (previous.facts.opened.data.try_no || 1) + 1, previous: previous.test,
    ...(previous.facts.tasted ? { tasted_at: previous.facts.tasted.at } : {}) });
  return data;
}

export function keepChoice(pack, { tester, protocol, facepiece }) {
  const kind = pack.facepieces.find((f) => f.id === facepiece)?.kind;
  localStorage.setItem("sealwright.tester", tester);
  localStorage.setItem("sealwright.protocol", protocol);
  localStorage.setItem(`sealwright.protocol.${kind}`, protocol);
}
