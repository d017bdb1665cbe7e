// SPDX-License-Identifier: Apache-2.0
// Parameters of the sound supply: own engineering choices of a 690 W unit, not taken from any product.
#include "host/simulate/supply_parameters.h"

namespace host::simulate {
namespace {

RailParameters healthy_12v() {
  return {.set_v = 12.10,
          .bulk_farad = 6600e-6,
          .bulk_esr_ohm = 5e-3,
          .bulk_esl_henry = 4e-9,
          .ceramic_farad = 47e-6,
          .loop_gain_a_per_v = 100,
          .zero_hz = 300,
          .pole_hz = 20e3,
          .current_loop_hz = 15e3,
          .droop_ohm = 1e-3,
          .limit_a = 75,
          .remote_sense = {},
          .polarity = 1,
          .harnesses = {{8.0e-3, 2.0e-3, 0.50e-6, 330e-6, 12e-3, kBoard},
                        {8.5e-3, 2.0e-3, 0.45e-6, 400e-6, 16e-3, kBoard},
                        {8.5e-3, 2.0e-3, 0.45e-6, 400e-6, 16e-3, kBoard},
                        {6.4e-3, 1.5e-3, 0.40e-6, 1000e-6, 8e-3, kCard},
                        {9.0e-3, 2.0e-3, 0.45e-6, 150e-6, 20e-3, kCard},
                        {9.0e-3, 2.0e-3, 0.45e-6, 150e-6, 20e-3, kCard},
                        {20e-3, 5.0e-3, 0.80e-6, 100e-6, 30e-3, kBoard}}};
}

RailParameters small_rail(double set_v, double farad, double esr_ohm, double gain, double limit_a) {
  RailParameters rail = healthy_12v();
  rail.set_v = set_v;
  rail.bulk_farad = farad;
  rail.bulk_esr_ohm = esr_ohm;
  rail.loop_gain_a_per_v = gain;
  rail.limit_a = limit_a;
  return rail;
}

}  // namespace

SupplyParameters healthy_supply() {
  SupplyParameters supply;
  RailSetParameters& rails = supply.rails;
  rails.p12v = healthy_12v();
  rails.p5v = small_rail(5.05, 4400e-6, 8e-3, 60, 28);
  rails.p5v.droop_ohm = 2e-3;
  rails.p5v.harnesses = {{5e-3, 1e-3, 0.4e-6, 1000e-6, 8e-3, kBoard}, {20e-3, 5e-3, 0.8e-6, 470e-6, 20e-3, kBoard}};
  rails.p3v3 = small_rail(3.33, 4400e-6, 8e-3, 60, 28);
  rails.p3v3.droop_ohm = 0;  // it senses at the plug
  rails.p3v3.remote_sense = 0;
  rails.p3v3.harnesses = {{5e-3, 1e-3, 0.4e-6, 1000e-6, 8e-3, kBoard}};
  rails.m12v = small_rail(12.0, 470e-6, 60e-3, 3, 0.5);
  rails.m12v.polarity = -1;
  rails.m12v.harnesses = {{30e-3, 5e-3, 0.8e-6, 100e-6, 50e-3, kBoard}};
  rails.p5vsb = small_rail(5.08, 2200e-6, 20e-3, 15, 3.6);
  rails.p5vsb.harnesses = {{15e-3, 3e-3, 0.8e-6, 470e-6, 20e-3, kBoard}};
  rails.returns = {{{2.0e-3, 0.7e-3, kBoard},
                    {5.0e-3, 2.0e-3, kBoard},
                    {5.0e-3, 2.0e-3, kBoard},
                    {6.0e-3, 2.0e-3, kCard},
                    {12e-3, 4.0e-3, kCard},
                    {12e-3, 4.0e-3, kCard},
                    {20e-3, 5.0e-3, kBoard}}};
  rails.tie_ohm = 10e-3;
  return supply;
}

}  // namespace host::simulate
