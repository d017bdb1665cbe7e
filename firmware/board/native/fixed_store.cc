// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/native/fixed_store.h"

namespace firmware {

FixedStore::FixedStore(const Options& options) : boot_(options.boot) {
  identity_.jig_id = options.jig_id;
  identity_.firmware = "steadyrail-virtual-jig " STEADYRAIL_VERSION;
  identity_.channel_names = {"main-12v",
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
  identity_.line_channels = {0, 5, 6, 7, 23};  // PWR_OK, PS_ON#, AC-present, marker
  identity_.simulated = true;                  // scans reach this board from a simulated supply only
}

}  // namespace firmware
