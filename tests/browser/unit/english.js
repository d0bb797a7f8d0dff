// For tests without a page: the built-in words, before anything speaks.
import { learn } from "../../../daemon/pages/js/phrases.js";
import { english } from "../fixture/words.js";

learn(english());
