// @ts-check
/** Opens the house as the app does, with all of its store, and tells the handset when it has. @module */
import * as clock from "/store/clock.js";
import * as database from "/store/database.js";
import * as house from "/store/house.js";
import * as photos from "/store/photos.js";
import * as record from "/store/record.js";
import * as savedFile from "/store/saved_file.js";
import * as sending from "/store/sending.js";
import * as session from "/store/session.js";
import { startHouse } from "/store/start.js";
import * as tray from "/store/tray.js";

const handset = /** @type {any} */ (parent).handset;
await house.openHouse();
handset.tabOf(window).opened({ clock, database, house, photos, record, savedFile, sending, session, tray, sync: startHouse() });
