// SPDX-License-Identifier: Apache-2.0
// The reference jig's channel table, for boards whose store holds none of their own.
#pragma once

#include "firmware/hal/nonvolatile_store.h"

namespace firmware {

inline void use_reference_channels(Identity& identity) {
  identity.channel_names = {"main-12v",
                            "main-5v",
                            "main-3v3",
                            "main-m12v",
                            "standby-5v",
                            "pwr-ok",
                            "ps-on",
                            "ac-present",
                            "processor-1",
                            "processor-2",
                            "current-processor",
                            "current-main-12v",
                            "current-main-5v",
                            "ground-processor",
                            "peripheral-12v",
                            "current-main-3v3",
                            "graphics-1",
                            "graphics-2",
                            "graphics-3",
                            "current-graphics-1",
                            "current-graphics-2",
                            "current-graphics-3",
                            "ground-graphics",
                            "temperature"};
  identity.line_channels = {0, 5, 6, 7, 23};  // PWR_OK, PS_ON#, AC-present, marker
}

}  // namespace firmware
