// SPDX-License-Identifier: Apache-2.0
#include "host/diagnose/advice.h"

namespace host::diagnose {
namespace {

namespace proto = steadyrail::proto;

void supply_faulty(const Findings& found, proto::Diagnosis& out) {
  out.set_plain_words(
      "The power supply left the limits its own standard sets while its load was inside what its label promises. The "
      "supply should be replaced, not opened or repaired.");
  out.add_does_not_exclude("a second fault elsewhere that was not provoked here");
  out.add_would_change_it("another supply of the same kind failing at the same place: then look at the cable and load");
  out.add_next_steps("run the same session with a known-good supply, then again with this one (A-B-A)");
  if (found.standby_fell) out.add_next_steps("unplug everything fed by standby (USB, network wake-up) and look again");
}

void too_small(proto::Diagnosis& out) {
  out.set_plain_words(
      "The supply held while it was asked for no more than its label promises; this PC asks for more at times. Either "
      "a "
      "larger supply or a lower power limit in the PC is needed.");
  out.add_does_not_exclude("a supply that trips or sags slightly below its label: the label's margin was not measured");
  out.add_would_change_it("the same fall with the measured load inside the label: then the supply is at fault");
  out.add_next_steps("lower the power limits of processor and graphics card and run the same game");
  out.add_next_steps("spread the graphics cables over the sub-rails, if the label prints any");
}

void wiring(proto::Diagnosis& out) {
  out.set_plain_words(
      "One plug or cable loses far more voltage than its length explains, and heats up at that place. The supply "
      "itself "
      "holds its other connectors. The cable or plug must be reseated or replaced.");
  out.add_does_not_exclude(
      "a socket inside the supply or on the board: the jig sees the plug it stands in, and putting "
      "the jig in breaks and makes that very contact");
  out.add_would_change_it("the same resistance at the same socket with another cable: then the socket is at fault");
  out.add_next_steps(
      "mains off at the outlet, let it cool; look for browned or loose terminals, reseat, measure again");
  out.add_next_steps("swap the cable for another OF THE SAME SUPPLY and measure again");
}

/// The return of a group tells less than one plug's own conductor: parallel ways hide a bad one.
void returns(proto::Diagnosis& out) {
  out.set_plain_words(
      "The way back of one of several plugs loses more voltage than its wires and contacts should; which of them was "
      "not "
      "measured. Their black wires and plugs must be looked at and reseated, or the cables replaced.");
  out.add_does_not_exclude(
      "a description that counts more black wires than there are, or names shorter cables: the bound rests on it, and "
      "on "
      "contacts as good as tested ones");
}

void mains(proto::Diagnosis& out) {
  out.set_plain_words(
      "The mains went away or dipped before anything else did; the supply followed as it must. The outlet, its circuit "
      "or the mains itself comes first.");
  out.add_does_not_exclude("a supply that bridges too short a loss: see its hold-up time, where one was measured");
  out.add_would_change_it("falls of the rails without a loss of mains before them");
  out.add_next_steps(
      "try another outlet on another circuit, without a multiple socket; have the circuit looked at by a "
      "licensed electrician if it goes on");
}

void not_shown(const Surroundings& surroundings, proto::Diagnosis& out) {
  out.set_plain_words(
      "Nothing was seen at the supply that explains the trouble, as long as it was watched. That points away from the "
      "supply, but does not prove it innocent.");
  out.add_does_not_exclude(
      "faults that did not happen during this session, and dips too short for the jig's bandwidth");
  if (!surroundings.mains_watched) out.add_does_not_exclude("short dips of the mains: no AC-present channel");
  out.add_would_change_it("a lock-up with an event just before it, in a longer session with the customer's own load");
  out.add_next_steps("record until the trouble comes, and mark it");
  out.add_next_steps("look at memory, graphics card, temperature and software next");
}

void not_tested(proto::Diagnosis& out) {
  out.set_plain_words("This session is too short or too incomplete to say where the trouble comes from.");
  out.add_does_not_exclude("anything");
  out.add_would_change_it("a session with the exposure that the checks ask for");
  out.add_next_steps("name an edition of limits, run longer and with changing load, then look again");
}

}  // namespace

void advise(proto::Conclusion conclusion, const Findings& found, const Surroundings& surroundings,
            proto::Diagnosis& diagnosis) {
  switch (conclusion) {
    case proto::CONCLUSION_SUPPLY_FAULTY:
      supply_faulty(found, diagnosis);
      break;
    case proto::CONCLUSION_SUPPLY_TOO_SMALL:
      too_small(diagnosis);
      break;
    case proto::CONCLUSION_WIRING:
      wiring(diagnosis);
      if (found.returns_alone) returns(diagnosis);
      break;
    case proto::CONCLUSION_MAINS:
      mains(diagnosis);
      break;
    case proto::CONCLUSION_NOT_SHOWN:
      not_shown(surroundings, diagnosis);
      break;
    default:
      not_tested(diagnosis);
      break;
  }
  if (found.mains_or_supply) {
    diagnosis.add_does_not_exclude(
        "the mains: without an AC-present channel a loss of mains and a fault inside the "
        "supply look alike");
  }
  if (!surroundings.currents_everywhere) {
    diagnosis.add_does_not_exclude("a load above the label on connectors without a current channel");
  }
}

}  // namespace host::diagnose
